import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createGlove } from '../../src/glove/glove.js';
import { createPlayer } from '../../src/recording/player.js';
import { createReplayLink } from '../../src/recording/replay-link.js';
import { openSession } from '../../src/recording/session.js';
import { recordSimulated, silentLogger } from '../simulated-session.js';
import { type Figures, median } from './figure.js';

const SECONDS = 300;
const RATE_HZ = 250;
const ROUNDS = 5;

/** A recorded session through the whole chain as fast as it goes: file, frames, filters, hand, governor. */
export async function measureReplay(): Promise<Figures> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-bench-'));
  try {
    const file = join(folder, 'bench.mcap');
    await recordSimulated({ file, seconds: SECONDS, rateHz: RATE_HZ });
    await replay(file);
    const times: number[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      const before = process.cpuUsage();
      await replay(file);
      const { user, system } = process.cpuUsage(before);
      times.push((user + system) / 1e6);
    }
    return {
      replayMax: {
        value: SECONDS / median(times),
        unit: 'x real time',
        bar: 500,
        better: 'higher',
        reference: `${SECONDS} s of one hand at ${RATE_HZ} Hz, CPU time`,
      },
    };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

async function replay(file: string): Promise<void> {
  const session = openSession(file);
  const [glove] = session.profile.gloves;
  const link = createReplayLink({ hand: glove.hand, name: file, frames: true });
  const chain = createGlove({ profile: session.profile, glove, link, logger: silentLogger });
  let poses = 0;
  chain.listen({ frame: () => void poses++ });
  chain.start();
  const player = createPlayer({
    session,
    links: new Map([[glove.hand, link]]),
    speed: Number.POSITIVE_INFINITY,
  });
  player.play();
  await player.ended;
  await chain.close();
  session.close();
  if (poses < SECONDS * RATE_HZ * 0.99) throw new Error(`only ${poses} poses`);
}
