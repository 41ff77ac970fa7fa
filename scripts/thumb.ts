/**
 * How the thumb moves: how far its tip goes for a hundredth of one curl, whether pinches meet, how deep thumb and
 * fingers overlap, and how fast it is in the sessions of config/sessions.
 *
 *   npx tsx scripts/thumb.ts
 */
import { readdirSync } from 'node:fs';
import { createHandModel, FINGERS, HAND_SURVEY, pinchPose } from '../src/hand/index.js';
import { createOfflineHands } from '../src/recording/offline.js';
import { openSession } from '../src/recording/session.js';
import { seeded } from '../tests/hand/chain.js';
import { createPosing, worst } from '../tests/hand/thumb-leaps.js';

const mm = (m: number) => (m * 1000).toFixed(2).padStart(6);

const { women, men } = HAND_SURVEY;
/** From the 5th percentile of women to the 95th of men, as in the tests. */
const SIZES = [
  { lengthM: women.lengthM - 1.645 * women.lengthSdM, ratio: women.breadthM / women.lengthM },
  { lengthM: men.lengthM, ratio: men.breadthM / men.lengthM },
  { lengthM: men.lengthM + 1.645 * men.lengthSdM, ratio: men.breadthM / men.lengthM },
];
for (const { lengthM, ratio } of SIZES) {
  const model = createHandModel({ side: 'right', lengthM, breadthM: lengthM * ratio });
  const { leap, tipGap, thumbGap } = createPosing(model.skeleton, model.closing, model.natural);
  const random = seeded(7);
  console.log(`hand of ${(lengthM * 1000).toFixed(0)} mm`);
  for (let finger = 0; finger < FINGERS.length; finger++) {
    const { value, curls } = worst((c) => leap(c, finger), random, { places: 8000, climbs: 12 });
    console.log(
      `  tip for 0.01 of ${FINGERS[finger].padEnd(6)} ${mm(value)} mm at ${curls.map((c) => c.toFixed(3))}`,
    );
  }
  for (let finger = 1; finger < FINGERS.length; finger++) {
    const pinch = pinchPose(model.skeleton, finger, model.closing);
    const gaps = [0, 0.1, 0.2].map((rest) => {
      const curls = [pinch.thumbCurl, rest, rest, rest, rest];
      curls[finger] = pinch.fingerCurl;
      return mm(tipGap(curls, finger));
    });
    console.log(`  pinch with ${FINGERS[finger].padEnd(6)} the others at 0, 0.1, 0.2: gap ${gaps} mm`);
  }
  let fist = { gap: 1, at: 0 };
  for (let i = 0; i <= 200; i++) {
    const gap = thumbGap(Array(5).fill(i / 200));
    if (gap < fist.gap) fist = { gap, at: i / 200 };
  }
  console.log(
    `  closing to a fist: least gap ${mm(fist.gap)} mm at ${fist.at}, closed ${mm(thumbGap([1, 1, 1, 1, 1]))} mm`,
  );
  let deep = 0;
  for (let i = 0; i < 4000; i++) if (thumbGap(FINGERS.map(random)) < -0.003) deep++;
  const any = worst((c) => -thumbGap(c), random);
  console.log(
    `  any pose: deepest ${mm(any.value)} mm at ${any.curls.map((c) => c.toFixed(2))}; over 3 mm in ${(deep / 40).toFixed(1)} %`,
  );
}

const TIPS = [5, 10, 15, 20, 25];
for (const name of readdirSync('config/sessions').filter((file) => file.endsWith('.mcap'))) {
  const session = openSession(`config/sessions/${name}`);
  const tracks = new Map<string, { timeUs: number; tips: number[][] }[]>();
  const hands = createOfflineHands(session, (hand, frame) => {
    const track = tracks.get(hand) ?? [];
    tracks.set(hand, track);
    track.push({
      timeUs: frame.timeUs,
      tips: TIPS.map((joint) => [...frame.poses.subarray(joint * 8, joint * 8 + 3)]),
    });
  });
  session.visit(hands.visitor);
  session.close();
  for (const [hand, track] of tracks) {
    const fastest = TIPS.map((_, f) => {
      let most = 0;
      for (let i = 1; i < track.length; i++) {
        const s = (track[i].timeUs - track[i - 1].timeUs) / 1e6;
        if (s > 0.05) continue;
        const [a, b] = [track[i - 1].tips[f], track[i].tips[f]];
        most = Math.max(most, Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) / s);
      }
      return most.toFixed(2);
    });
    let leaps = 0;
    for (let i = 2; i < track.length; i++) {
      if (track[i].timeUs - track[i - 2].timeUs > 25_000) continue;
      const [a, b] = [track[i - 2].tips[0], track[i].tips[0]];
      if (Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]) > 0.02) leaps++;
    }
    console.log(
      `${name} ${hand}: fastest tips, thumb to little, ${fastest.join(' ')} m/s; thumb over 20 mm in 20 ms: ${leaps} times`,
    );
  }
}
