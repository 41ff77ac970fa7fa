import { FINGERS } from '../../src/hand/joints.js';
import type { HostGlove } from '../firmware/host-glove.js';

/** A wearer of the host glove who reads the prompts of a command and does what they say. */

const MOVE_MS = 450;
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** What each prompt asks for, by the words that a person goes by. */
export async function obey(host: HostGlove, prompt: string): Promise<void> {
  const all = async (curl: number, ms = MOVE_MS) => {
    for (const finger of FINGERS) await host.command(`ramp ${finger}.curl ${curl} ${ms}`);
  };
  const only = FINGERS.find((finger) => prompt.includes(`Only the ${finger}`));
  if (only) {
    await host.command(`ramp ${only}.curl 1 ${MOVE_MS}`);
    await pause(MOVE_MS + 200);
    await host.command(`ramp ${only}.curl 0 ${MOVE_MS}`);
  } else if (prompt.includes('fist')) await all(1);
  else if (prompt.includes('along with the bar')) {
    await pause(1300);
    await all(1, 3500);
    await pause(4600);
    await all(0, 3500);
  } else if (prompt.includes('Touch the tip')) {
    await all(0);
    await host.command(`ramp thumb.curl 0.5 ${MOVE_MS}`);
    await host.command(`ramp index.curl 0.5 ${MOVE_MS}`);
  } else await all(0);
}

/** Obeys every line that a running command prints, as it prints it. */
export function obeyPrompts(
  host: HostGlove,
  stdout: NodeJS.ReadableStream,
): { prompts: string[]; settled(): Promise<void> } {
  const prompts: string[] = [];
  let rest = '';
  let moves = Promise.resolve();
  stdout.on('data', (chunk: Buffer | string) => {
    const lines = `${rest}${chunk}`.split('\n');
    rest = lines.pop() ?? '';
    for (const line of lines) {
      const prompt = line.match(/^ ?\d+\/\d+ {2}(.*)$/)?.[1];
      if (prompt === undefined) continue;
      prompts.push(prompt);
      moves = moves.then(() => obey(host, prompt)).catch(() => {});
    }
  });
  return { prompts, settled: () => moves };
}
