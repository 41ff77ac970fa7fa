import { isLearned, LEAST_S, type Learned, learnFit } from '../guide/from-use/learn.js';
import { createUseRecord, ROW_S, type UseRecord } from '../guide/from-use/use-record.js';
import type { Mutable } from '../mutable.js';
import type { Sensing } from '../sensing/sensing.js';
import { inTimeSlices } from '../time-slices.js';
import type { ChainInUse } from './chain-in-use.js';
import type { FitOffer } from './view.js';

/** Looks on while a glove is worn, and says what a fit from that would be. It changes nothing by itself. */
export interface UseLearner {
  /** Call with every sample, after the chain has taken it. */
  sample(timeUs: number): void;
  /** Call now and then: works out what there is to propose once there is enough, between other work. */
  look(): void;
  /** What was worked out last; undefined: nothing yet, or it no longer applies. */
  readonly learned: Learned | undefined;
  /** Seconds of motion seen so far. */
  seconds(): number;
  /** Works it out now. */
  learn(): Promise<Learned>;
  /** Another wearer, or another fit: what was worked out no longer applies. @param motion it was another hand that moved */
  outdated(motion: boolean): void;
}

/** Motion that has come since the last time, before it is worked out again by itself, s. */
const AGAIN_S = 15;
/** These make the counts worthless; the other verdicts are about the range in use, which is what is learned. */
const BROKEN: ReadonlySet<string> = new Set(['missing', 'dead', 'railed', 'intermittent', 'noisy']);

export function createUseLearner(chain: ChainInUse, mayWork: () => boolean): UseLearner {
  let sensing: Sensing | undefined;
  let roles = '';
  let record: UseRecord | undefined;
  let working: Promise<Learned> | undefined;
  let movedS = 0;
  let learnedAtS = 0;
  /** Goes up when what is being worked out no longer applies. */
  let version = 0;

  /** The chain was remade: with the same sensors what was seen still holds, but not what came of it. */
  function renew(): void {
    sensing = chain.now.sensing;
    version++;
    learner.learned = undefined;
    learnedAtS = 0;
    const { channels } = sensing;
    const now = channels.map(({ role, source, profile }) => `${role} ${source} ${profile.bits}`).join();
    if (now === roles && record) return;
    roles = now;
    movedS = 0;
    record = channels.some(isLearned)
      ? createUseRecord(channels.map(({ lookup }) => lookup.maxCounts))
      : undefined;
  }

  async function work(): Promise<Learned> {
    if (chain.now.sensing !== sensing || !record) renew();
    const { channels, closing, health } = chain.now.sensing;
    if (!record) return { seconds: 0, channels: [], controls: [], asInUse: [], missing: [] };
    const fitted = chain.now.fits.channels?.channels ?? [];
    const begun = version;
    learnedAtS = movedS;
    const found = await inTimeSlices(
      learnFit(record.read(), {
        channels,
        closing,
        fitted: channels.map(({ role, profile }) =>
          fitted.some((one) => one.role === role && one.bits === profile.bits),
        ),
        faulty: health.verdicts.map(({ kind }) => BROKEN.has(kind)),
        stickDeadZone: chain.now.stickDeadZone,
      }),
    );
    if (begun === version) learner.learned = found;
    return found;
  }

  const learner: Mutable<UseLearner> = {
    learned: undefined,
    seconds: () => record?.seconds ?? 0,
    sample(timeUs) {
      if (chain.now.sensing !== sensing) renew();
      if (!record) return;
      if (record.sample(chain.now.sensing.counts, timeUs * 1e-6, chain.now.resistance.status.held)) {
        movedS += ROW_S;
      }
    },
    look() {
      if (working || !record || !mayWork()) return;
      if (record.seconds < LEAST_S || movedS - learnedAtS < AGAIN_S) return;
      void learner.learn();
    },
    learn() {
      working ??= work().finally(() => {
        working = undefined;
      });
      return working;
    },
    outdated(motion) {
      version++;
      learner.learned = undefined;
      learnedAtS = 0;
      if (motion) record?.forget();
    },
  };
  return learner;
}

/** What `status` says of it. */
export function fromUseOf(learned: Learned | undefined): FitOffer | undefined {
  if (!learned) return undefined;
  const { channels, controls, stickDeadZone } = learned;
  if (channels.length + controls.length === 0 && stickDeadZone === undefined) return undefined;
  return {
    channels: channels.map(({ role }) => role),
    differsDeg: Math.max(0, ...channels.map(({ differsDeg }) => differsDeg)),
    uncertaintyDeg: Math.max(0, ...channels.map(({ uncertaintyDeg }) => uncertaintyDeg)),
    ...(controls.length > 0 ? { controls: controls.map(({ role }) => role) } : {}),
    ...(stickDeadZone === undefined ? {} : { stickDeadZone }),
  };
}
