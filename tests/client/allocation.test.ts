import { execFile } from 'node:child_process';
import { promisify } from 'node:util';
import { expect, it } from 'vitest';
import { batchService } from './batch-service.js';

/** Of a machine that has other work. */
const LONG_MS = 120_000;

/**
 * In a process of its own, whose collector is kept from working meanwhile, and whose compiler works in between instead of
 * beside: when code is optimised is then no matter of who else has the processors.
 */
async function measured(script: string, ...args: string[]) {
  const semiSpace = ['--min-semi-space-size=64', '--max-semi-space-size=64'];
  const flags = ['--expose-gc', '--single-threaded', ...semiSpace];
  const path = `tests/client/javascript/${script}`;
  return JSON.parse((await promisify(execFile)(process.execPath, [...flags, path, ...args])).stdout);
}
/** Bytes for each pose. */
async function allocated(poses: number, ...words: string[]): Promise<number> {
  const { bytes, seen } = await measured('allocation.mjs', `${poses}`, ...words);
  // No number: a collection came into every measurement.
  expect(bytes).toEqual(expect.any(Number));
  expect(seen).toBe(true);
  return bytes;
}

it.each([['of a hand that moves'], ['of a glove that is silent', 'silent']])(
  'with reusePoses, two hundred thousand poses %s, to the listener and to a grab, are no garbage',
  async (_, ...words) => {
    expect(await allocated(200_000, 'reuse', 'buffer', ...words)).toBeLessThan(1);
  },
  LONG_MS,
);

it(
  'bytes that come as an ArrayBuffer take a view of them, and nothing else',
  async () => {
    // A DataView of V8 takes 80 bytes; a pose of its own more than a thousand.
    expect(await allocated(20_000, 'reuse')).toBeLessThan(90);
  },
  LONG_MS,
);

it(
  'without reusePoses each pose is an object of its own',
  async () => {
    expect(await allocated(3000, 'buffer')).toBeGreaterThan(1000);
  },
  LONG_MS,
);

it(
  'with the socket, the client costs what a receiver costs that looks at nothing',
  async () => {
    const service = await batchService();
    const bytes = async (kind: string) =>
      (await measured('socket-allocation.mjs', service.url, `${service.batch}`, kind)).bytes as number;
    const [bare, client] = [await bytes('onmessage'), await bytes('client')];
    service.close();
    // What `ws` and the stream of Node allocate for a message of 872 bytes, each time a little different.
    expect(bare).toBeGreaterThan(872);
    expect(client - bare).toBeLessThan(150);
  },
  LONG_MS,
);
