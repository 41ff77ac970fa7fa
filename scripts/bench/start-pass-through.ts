import type { Bed, HostGlove, ServiceProcess } from '../load/bed.js';

/** The bare relay of a glove's bytes (pass-through.ts), in a process of its own. */
export async function startPassThrough(bed: Bed, glove: HostGlove): Promise<ServiceProcess> {
  const program = ['build/scripts/bench/pass-through.js', glove.pty];
  const { match, child } = await bed.start(process.execPath, program, /^(\d+)$/);
  return { url: `ws://127.0.0.1:${match[1]}`, pid: child.pid! };
}
