import { fileURLToPath } from 'node:url';
import { start } from '../../tests/commands/cli.js';
import { startRig, WAYS } from '../../tests/end-to-end/letting-go-rig.js';

/** What a hostile crowd does to those who want to let go. */
export interface CrowdReport {
  connections: number;
  /** How often each way to let go was tried. */
  times: number;
  /** The longest that each took, ms, by the firmware's clock; null: for good it did not let go. */
  worstMs: Record<string, number | null>;
  /** Begun, by what they did. */
  evils: Record<string, number>;
  /** The service ended by itself. */
  crashed: string | undefined;
}

/** Every way to let go takes less, ms. */
export const LET_GO_MS = 300;
const CONNECTIONS = 64;
const WAYS_TRIED = ['POST /disarm', 'disarm on the stream', 'glove button', '`tautline disarm`'];

/**
 * Many hostile connections at once, over real sockets, to a service with our firmware at its end; and meanwhile fingers
 * are held and let go, again and again. Needs `npm run build` and the host firmware.
 */
export async function fuzzCrowd(times: number, seed: number): Promise<CrowdReport> {
  const rig = await startRig();
  await fetch(`http://127.0.0.1:${rig.service.port}/health`);
  await rig.hold();
  const program = fileURLToPath(new URL('hostile-crowd.ts', import.meta.url));
  const crowd = start([rig.service.port, CONNECTIONS, seed].map(String), ['--import', 'tsx', program]);
  await crowd.said('hostile');
  const worstMs: Record<string, number | null> = {};
  let crashed: string | undefined;
  for (let n = 0; n < times && crashed === undefined; n++) {
    for (const name of WAYS_TRIED) {
      const { fails, after } = WAYS[name];
      try {
        await rig.hold();
        const { tookMs } = await rig.release(fails);
        const before = worstMs[name];
        if (before !== null) worstMs[name] = Math.max(before ?? 0, Math.round(tookMs));
      } catch (error) {
        worstMs[name] = null;
        if (rig.service.process.exitCode !== null) crashed = (await rig.service.outcome).stderr;
        else console.error(`${name}: ${(error as Error).message}`);
      }
      await after?.(rig);
    }
  }
  crowd.process.kill('SIGKILL');
  const { stdout } = await crowd.outcome;
  await rig.end();
  const evils = JSON.parse(stdout.trim().split('\n').at(-1) ?? '{}') as Record<string, number>;
  return { connections: CONNECTIONS, times, worstMs, evils, crashed };
}

export const letGoInTime = ({ worstMs, crashed }: CrowdReport): boolean =>
  crashed === undefined && Object.values(worstMs).every((ms) => ms !== null && ms < LET_GO_MS);
