/**
 * How good velocities and predicted poses are in the sessions of config/sessions: velocities against central
 * differences of the poses, and poses predicted by 20 and 50 ms against the poses of that later time, beside the pose held.
 *
 *   npx tsx scripts/prediction.ts [FILE...]
 */
import { JOINT_NAMES } from '../src/hand/index.js';
import {
  judgePrediction,
  MOVING_JOINTS,
  PERCENTILES,
  trackSession,
} from '../tests/recording/prediction-trials.js';

const given = process.argv.slice(2);
const files = given.length ? given : ['everyday', 'grasp', 'faults'].map((s) => `config/sessions/${s}.mcap`);
for (const file of files) {
  for (const [hand, track] of trackSession(file)) {
    const { velocities, ahead } = judgePrediction(track);
    const by = MOVING_JOINTS.map((joint, i) => ({ joint: JOINT_NAMES[joint], ...velocities[i] }));
    const worst = by
      .filter(({ joint }) => !joint.startsWith('thumb'))
      .reduce((a, b) => (b.rms > a.rms ? b : a));
    const thumb = by.find(({ joint }) => joint === 'thumb-tip')!;
    const percent = (x: number) => `${(100 * x).toFixed(1)} %`;
    console.log(
      `${file}, ${hand} hand: velocities off by, fingers rms ${percent(worst.rms)} at worst (${worst.joint}), while moving median ${percent(worst.median)}, p90 ${percent(worst.p90)}; thumb tip ${percent(thumb.rms)}, while moving median ${percent(thumb.median)}, p90 ${percent(thumb.p90)}`,
    );
    for (const { ms, joints } of ahead) {
      const names = PERCENTILES.map((p, k) => {
        const ratios = joints.map(({ held, predicted }) => (held[k] > 0 ? predicted[k] / held[k] : 0));
        const most = Math.max(...ratios);
        return `p${p} ${most.toFixed(2)} (${JOINT_NAMES[MOVING_JOINTS[ratios.indexOf(most)]]})`;
      });
      const tip = joints[MOVING_JOINTS.indexOf(5)];
      console.log(
        `  ${ms} ms: predicted / held, the worst joint: ${names.join(', ')}; thumb tip p95 ${(tip.predicted[2] * 1000).toFixed(2)} of ${(tip.held[2] * 1000).toFixed(2)} mm`,
      );
    }
  }
}
