import type { Logger } from 'pino';
import type { FitStore } from '../config/fit-file.js';
import type { Profile } from '../config/schema.js';
import { createGlove } from '../glove/glove.js';
import type { Glove, GloveDescription, HandFrame } from '../glove/view.js';
import type { HandSide } from '../hand/joints.js';
import { codecOf } from '../link/codec-of.js';
import { feedLinks } from './feed-links.js';
import { createReplayLink, type ReplayLink } from './replay-link.js';
import type { Session, SessionVisitor } from './session.js';

/** Recomputes the hands of a session, without a service and without waiting. */
export interface OfflineHands {
  /** Give it to `session.visit`, alone or as a part of another visitor. */
  readonly visitor: SessionVisitor;
  readonly hands: readonly HandSide[];
  describe(hand: HandSide): GloveDescription;
  /** Inputs as apps get them, by OpenXR path, after the newest frame. */
  readInputs(hand: HandSide): Record<string, number | boolean>;
  /** What the hand is doing, after the newest frame. */
  readGestures(hand: HandSide): ReturnType<Glove['readGestures']>;
  /** The newest pose as it is predicted by `aheadS`, into `poses`. */
  predict(hand: HandSide, aheadS: number, poses: Float64Array): void;
  /** The drift that was followed up to the newest frame. */
  rememberDrift(hand: HandSide): number[];
}

/**
 * @param take gets every frame; it is reused
 * @param profile instead of the recorded one
 * @param fits of that profile, instead of the recorded ones
 */
export function createOfflineHands(
  session: Session,
  take: (hand: HandSide, frame: HandFrame) => void,
  profile: Profile = session.profile,
  fits?: FitStore,
): OfflineHands {
  let nowUs = session.startUs;
  const links = new Map<HandSide, ReplayLink>();
  const gloves = new Map<HandSide, ReturnType<typeof createGlove>>();
  for (const glove of profile.gloves) {
    const { hand } = glove;
    if (!session.hands.includes(hand)) continue;
    const link = createReplayLink({
      hand,
      name: session.file.path,
      frames: glove.codec.kind === 'frames',
      recordedFits: profile === session.profile,
    });
    const chain = createGlove({
      profile,
      glove,
      link,
      codec: codecOf(glove),
      fits,
      logger: SILENT,
      // Nothing waits here: everything that happened is in the session.
      clock: { nowUs: () => nowUs, after: () => () => {} },
    });
    chain.listen({ frame: (frame) => take(hand, frame) });
    chain.start();
    links.set(hand, link);
    gloves.set(hand, chain);
  }
  const feed = feedLinks(links);
  const at = (timeUs: number): void => {
    if (timeUs > nowUs) nowUs = timeUs;
  };
  return {
    hands: [...links.keys()],
    describe: (hand) => gloves.get(hand)!.description,
    readInputs: (hand) => gloves.get(hand)!.readInputs().values,
    readGestures: (hand) => gloves.get(hand)!.readGestures(),
    predict: (hand, aheadS, poses) => gloves.get(hand)!.predict(aheadS, poses),
    rememberDrift: (hand) => gloves.get(hand)!.rememberDrift(),
    visitor: {
      ...feed,
      received(hand, timeUs, bytes) {
        at(timeUs);
        feed.received!(hand, timeUs, bytes);
      },
      fits(hand, timeUs, body) {
        at(timeUs);
        feed.fits!(hand, timeUs, body);
      },
      request(hand, timeUs, body) {
        at(timeUs);
        feed.request!(hand, timeUs, body);
      },
      status(hand, timeUs, body) {
        at(timeUs);
        feed.status!(hand, timeUs, body);
      },
    },
  };
}

const nothing = (): void => {};
const SILENT = {
  trace: nothing,
  debug: nothing,
  info: nothing,
  warn: nothing,
  error: nothing,
  fatal: nothing,
} as unknown as Logger;
