import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { encodeJointsBinary } from '../../src/stream/encode-binary.js';
import { encodeJointsJson } from '../../src/stream/encode-json.js';
import type { Figures } from './figure.js';
import { openMemoryGlove } from './memory-glove.js';

const FRAMES = 1_000_000;
/** Until everything that is made once is made. */
const WARM_UP = 100_000;
const RATE_HZ = 500;

/** The heap before and after a million frames of a whole glove's chain, both encodings of every pose included. */
export async function measureMemory(): Promise<Figures> {
  // As `node --expose-gc` would.
  setFlagsFromString('--expose-gc');
  const collect = runInNewContext('gc') as () => void;
  const { glove, sample } = openMemoryGlove(RATE_HZ);
  const target = Buffer.allocUnsafeSlow(16 * 1024);
  let poses = 0;
  glove.listen({
    frame: ({ poses: values, velocities, fingerStates, valid, reason, space, timeUs }) => {
      const message = {
        hand: 'right' as const,
        seq: poses++,
        timeUs: Math.round(timeUs),
        valid,
        reason,
        space,
        fingerStates,
        aheadMs: 0,
        recorded: false,
        pressures: undefined,
        poses: values,
        velocities,
      };
      encodeJointsBinary(target, 0, message);
      encodeJointsJson(target, 0, message);
    },
  });
  const run = (count: number): void => {
    for (let i = 0; i < count; i++) sample();
  };
  const heapBytes = (): number => {
    collect();
    return process.memoryUsage().heapUsed;
  };
  run(WARM_UP);
  const before = heapBytes();
  run(FRAMES);
  const after = heapBytes();
  if (poses < FRAMES) throw new Error(`only ${poses} poses`);
  return {
    heapGrowth: {
      value: Math.abs(after - before) / 1e6,
      unit: 'MB',
      bar: 1,
      better: 'lower',
      reference: `heap in use after collection, before and after ${FRAMES} frames: ${(before / 1e6).toFixed(2)} and ${(after / 1e6).toFixed(2)} MB`,
    },
  };
}
