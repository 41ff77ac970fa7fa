import type { GloveProfile } from '../config/schema.js';
import { createGloveGuide, type GloveGuide } from '../guide/guide.js';
import { mergeFit } from '../guide/merge-fit.js';
import { pinchGapMm } from '../guide/pinch-gap.js';
import { stopsToFit } from '../guide/stops-to-fit.js';
import { FINGERS } from '../hand/joints.js';
import { TRACKED } from '../hand/validity.js';
import type { GloveCodec } from '../link/codec.js';
import type { TimeSync } from '../link/time-sync.js';
import type { GloveArming } from './arming.js';
import type { ChainInUse } from './chain-in-use.js';
import { createUseLearner, type UseLearner } from './use-learner.js';
import type { GloveWrist } from './wrist.js';

export interface GuidedSources {
  glove: GloveProfile;
  chain: ChainInUse;
  codec: GloveCodec;
  timeSync: TimeSync;
  arming(): GloveArming;
  wrist: GloveWrist;
  /** It shows a recording. */
  recorded: boolean;
}

/** The guide of one glove, fed with each sample. */
export interface GuidedGlove {
  readonly guide: GloveGuide;
  readonly learner: UseLearner;
  /** Call with every sample, after the chain has taken it and before the governor takes its step. */
  sample(timeUs: number, nowUs: number, buttons: number): void;
}

export function createGuidedGlove({
  glove,
  chain,
  codec,
  timeSync,
  arming,
  wrist,
  recorded,
}: GuidedSources): GuidedGlove {
  const tracker = new Float64Array(7);
  const fingerOk = new Uint8Array(FINGERS.length);
  const guide = createGloveGuide({
    name: glove.name,
    hand: () => chain.now.description.hand,
    channels: () => chain.now.sensing.channels,
    buttons: glove.buttons,
    debounceMs: glove.controls.debounceMs,
    promisedHz: () => chain.now.description.sampleRateHz,
    counters: codec.counters,
    timeSync,
    closing: () => chain.now.sensing.closing,
    live: () => chain.now.sensing.health.verdicts,
    found: (verdicts) => chain.now.sensing.health.adopt(verdicts),
    pinchGapMm: (fit, counts) =>
      pinchGapMm(mergeFit(glove, fit.channels), chain.now.sensing, chain.now.skeleton, counts),
    // A glove that uses lines has no command for "free": what frees it depends on the very numbers that are sought.
    stops: () => (codec.plain ? [] : stopsToFit(chain.now.actuators, chain.now.travel)),
    skeleton: () => chain.now.skeleton,
    sensed: () =>
      FINGERS.flatMap((_, finger) => (chain.now.sensing.fingerStates[finger] === TRACKED ? [finger] : [])),
    resistance: () => chain.now.resistance,
    arm: (by) => void arming().arm(by, 'wearer'),
    disarm: (by) => arming().disarm(by, 'wearer'),
  });
  const learner = createUseLearner(chain, () => !chain.now.resistance.armed);
  return {
    guide,
    learner,
    sample(timeUs, nowUs, buttons) {
      if (!recorded) learner.sample(timeUs);
      if (!guide.running()) return;
      const { sensing } = chain.now;
      guide.sample(sensing.counts, timeUs, buttons);
      for (let finger = 0; finger < fingerOk.length; finger++) {
        fingerOk[finger] = sensing.fingerStates[finger] === TRACKED ? 1 : 0;
      }
      const known = wrist.trackerAt(timeUs, nowUs, tracker);
      guide.placed(timeUs, sensing.dofs, known > 0 ? tracker : undefined, known);
      guide.feel(nowUs, sensing.curl, fingerOk, sensing.counts);
    },
  };
}
