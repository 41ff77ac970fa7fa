import type { GloveProfile } from '../../../src/config/schema.js';
import { type Learned, learnFit } from '../../../src/guide/from-use/learn.js';
import { createUseRecord } from '../../../src/guide/from-use/use-record.js';
import { mergeFit } from '../../../src/guide/merge-fit.js';
import { compileChannels } from '../../../src/sensing/channels.js';
import { atOnce } from '../../../src/steps.js';
import { closing, type SyntheticGlove } from '../../sensing/synthetic-glove.js';
import { createEverydayWearer, type EverydayOptions } from './everyday-wearer.js';

const RATE_HZ = 100;
const NOBODY = new Uint8Array(5);

/** A wearer does what he likes for so long, in a glove whose present calibration is `inUse`. */
export function learnFromUse(
  glove: SyntheticGlove,
  wearer: EverydayOptions,
  seconds = 120,
  inUse: GloveProfile = glove.profile,
  fitted = false,
): { learned: Learned; profile: GloveProfile } {
  const roles = inUse.channels.map(({ role }) => role);
  const channels = compileChannels(inUse, roles, closing);
  const record = createUseRecord(channels.map(({ lookup }) => lookup.maxCounts));
  const person = createEverydayWearer(wearer);
  const counts = new Uint16Array(channels.length);
  for (let t = 0; t < seconds * RATE_HZ; t++) {
    glove.read(person.at(t / RATE_HZ), counts);
    record.sample(counts, t / RATE_HZ, NOBODY);
  }
  const learned = atOnce(
    learnFit(record.read(), {
      channels,
      closing,
      fitted: channels.map(() => fitted),
      faulty: channels.map(() => false),
      stickDeadZone: 0.12,
    }),
  );
  return { learned, profile: mergeFit(inUse, learned.channels) };
}
