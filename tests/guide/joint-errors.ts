import type { GloveProfile } from '../../src/config/schema.js';
import { setCurl } from '../../src/hand/closing.js';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { FINGERS } from '../../src/hand/joints.js';
import { createSensing } from '../../src/sensing/sensing.js';
import { feedTo, random } from '../sensing/glove-signals.js';
import { closing, type SyntheticGlove } from '../sensing/synthetic-glove.js';
import type { HandState } from './wearer.js';

export const RATE_HZ = 200;
export const FLEXIONS = FINGERS.flatMap((_, f) => [4 * f, 4 * f + 2, 4 * f + 3]);

/** What is worn: by synthetic-glove.ts, or another that can be read for a hand whose pose is known. */
type Worn = Pick<SyntheticGlove, 'read' | 'slip'> & {
  channels: { readonly length: number; keys(): Iterable<number> };
};

/** Errors of every flexion, degrees, while the hand moves about along its closing profile. */
export function errorsOf(
  glove: Worn,
  profile: GloveProfile,
  seed: number,
  slip = 0,
  seconds = 30,
  slipped = 0,
): number[] {
  const sensing = createSensing({ glove: profile, closing, sampleRateHz: RATE_HZ });
  const feed = feedTo(sensing, RATE_HZ);
  const uniform = random(seed + 1000);
  const hand: HandState = {
    curls: new Float64Array(5),
    splays: new Float64Array(5),
    controls: { 'stick.x': 0, 'stick.y': 0, trigger: 0, squeeze: 0 },
  };
  const counts = new Uint16Array(glove.channels.length);
  const truth = new Float64Array(DOF_COUNT);
  const phases = FINGERS.map(() => 2 * Math.PI * uniform());
  const speeds = FINGERS.map(() => 0.08 + 0.12 * uniform());
  const errors: number[] = [];
  for (let t = 0; t < seconds * RATE_HZ; t++) {
    const nowS = t / RATE_HZ;
    for (let f = 0; f < 5; f++) {
      hand.curls[f] = 0.5 - 0.5 * Math.cos(2 * Math.PI * speeds[f] * nowS + phases[f]);
      setCurl(closing, f, hand.curls[f], truth);
    }
    for (const k of glove.channels.keys()) glove.slip(k, slipped + (slip * nowS) / seconds);
    glove.read(hand, counts);
    feed.send(counts);
    if (t % 20 !== 0 || nowS < 1) continue;
    for (const dof of FLEXIONS) errors.push((Math.abs(sensing.dofs[dof] - truth[dof]) * 180) / Math.PI);
  }
  return errors;
}
