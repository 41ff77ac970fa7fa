/**
 * Records a day of simulated time into one file, as fast as it goes, and prints what the sessions guide states:
 * size an hour, memory, time to seek.
 *
 *   npx tsx scripts/record-day.ts [HOURS] [FILE]
 */
import { rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createGlove } from '../src/glove/glove.js';
import { createPlayer } from '../src/recording/player.js';
import { createReplayLink } from '../src/recording/replay-link.js';
import { openSession } from '../src/recording/session.js';
import { recordSimulated, silentLogger } from './simulated-session.js';

const hours = Number(process.argv[2] ?? 24);
const file = process.argv[3] ?? join(tmpdir(), `tautline-day-${process.pid}.mcap`);
const MB = 1e6;

const memory: { minute: number; heapMb: number; residentMb: number }[] = [];
const began = performance.now();
await recordSimulated({
  file,
  seconds: hours * 3600,
  rateHz: 250,
  maxSeconds: Number.POSITIVE_INFINITY,
  maxBytes: Number.POSITIVE_INFINITY,
  minute(minute) {
    if (minute % 30 !== 0) return;
    globalThis.gc?.();
    const { heapUsed, rss, arrayBuffers } = process.memoryUsage();
    memory.push({ minute, heapMb: (heapUsed + arrayBuffers) / MB, residentMb: rss / MB });
  },
});
const { size } = statSync(file);
console.log(`recorded ${hours} h in ${((performance.now() - began) / 1000).toFixed(0)} s`);
console.log(
  `${(size / MB).toFixed(0)} MB, ${(size / MB / hours).toFixed(1)} MB an hour (one hand, 250 Hz, 12 channels)`,
);
for (const { minute, heapMb, residentMb } of memory) {
  if (minute % (hours * 10) === 0 || minute === 30)
    console.log(`after ${minute} min: heap ${heapMb.toFixed(1)} MB, resident ${residentMb.toFixed(1)} MB`);
}

const opening = performance.now();
const session = openSession(file);
console.log(`opened in ${(performance.now() - opening).toFixed(0)} ms`);
const [glove] = session.profile.gloves;
const link = createReplayLink({ hand: glove.hand, name: file, frames: true });
const chain = createGlove({ profile: session.profile, glove, link, logger: silentLogger });
let poses = 0;
chain.listen({ frame: ({ valid }) => void (valid && poses++) });
chain.start();
const player = createPlayer({ session, links: new Map([[glove.hand, link]]) });
player.play();
const seeks: number[] = [];
for (let n = 0; n < 200; n++) {
  const before = poses;
  const at = performance.now();
  player.seek((((n * 7919) % 10_000) / 10_000) * hours * 3600);
  while (poses === before && performance.now() - at < 1000)
    await new Promise((resolve) => setImmediate(resolve));
  seeks.push(performance.now() - at);
}
seeks.sort((a, b) => a - b);
console.log(
  `200 seeks, to the first pose: median ${seeks[100].toFixed(1)} ms, longest ${seeks[199].toFixed(1)} ms`,
);
player.close();
await chain.close();
session.close();
if (process.argv[3] === undefined) rmSync(file);
