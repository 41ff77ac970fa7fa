import { describe, expect, it } from 'vitest';
import { JOINT_NAMES } from '../../src/hand/joints.js';
import { judgePrediction, MOVING_JOINTS, PERCENTILES, trackSession } from './prediction-trials.js';

const hands = ['everyday', 'grasp', 'faults'].flatMap((name) =>
  [...trackSession(`config/sessions/${name}.mcap`)].map(([hand, track]) => ({ name, hand, track })),
);

describe.each(hands)('$name, the $hand hand', ({ track }) => {
  const { velocities, ahead } = judgePrediction(track);

  it('has velocities within 10 % of central differences of its poses, for every joint that moves', () => {
    for (const [i, joint] of MOVING_JOINTS.entries()) {
      expect(velocities[i].rms, JOINT_NAMES[joint]).toBeGreaterThan(0);
      expect(velocities[i].rms, JOINT_NAMES[joint]).toBeLessThan(0.1);
      expect(velocities[i].median, JOINT_NAMES[joint]).toBeLessThan(0.05);
    }
  });

  it.each(ahead)(
    'is nearer to the pose $ms ms later when predicted than when held, for every joint',
    ({ joints }) => {
      for (const [i, joint] of MOVING_JOINTS.entries()) {
        const { held, predicted } = joints[i];
        for (const [k, percentile] of PERCENTILES.entries()) {
          const which = `${JOINT_NAMES[joint]}, p${percentile}`;
          // Half the time these hands are at rest, and there is nothing to foresee.
          if (held[k] < 0.0003) expect(predicted[k], which).toBeLessThan(held[k] + 1e-5);
          else expect(predicted[k], which).toBeLessThan(0.8 * held[k]);
        }
      }
    },
  );
});
