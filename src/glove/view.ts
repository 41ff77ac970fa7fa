import type { FitsInUse } from '../config/fit-file.js';
import type { HandSide } from '../hand/joints.js';
import type { Skeleton } from '../hand/skeleton.js';
import type { LinkCounters } from '../link/codec.js';
import type { LinkStatus } from '../link/link.js';
import type { TimeSyncStatus } from '../link/time-sync.js';
import type { ActuatorKind, ActuatorRole, ChannelRole } from '../protocol/link-table.js';
import type { AppMessageOf, ServerMessageOf } from '../protocol/messages.js';
import type { Refusal } from '../protocol/refusals.js';
import type { World } from '../protocol/wrist-report.js';
import type { WhoArms } from '../resistance/governor.js';
import type { Unused } from '../resistance/unused-lines.js';
import type { WearerFeel } from '../resistance/wearer-feel.js';

/** One pose of the hand. Reused: valid only during the call. */
export interface HandFrame {
  /** Time of the sample on the service's clock, µs; always increases. */
  timeUs: number;
  /** False while the link is silent; the poses are then the last known. */
  valid: boolean;
  /** Why not valid. */
  reason: string | undefined;
  space: 'wrist' | 'world';
  /** Which world, where the app that places the hand says so. */
  world?: World | undefined;
  /** Per finger: INVALID, INFERRED or TRACKED. */
  fingerStates: Uint8Array;
  /** 26 × POSE_STRIDE. */
  poses: Float64Array;
  /** 26 × VELOCITY_STRIDE. */
  velocities: Float64Array;
  /** Samples since the last frame that was passed on, skipped because the service is behind. */
  skipped: number;
  /** Of a replay that has jumped: by so much `timeUs` is later than the recorded time, µs; otherwise 0. */
  shownLaterUs: number;
}

/** What the stream tells apps about a glove; a new object whenever it changes. */
export interface GloveDescription {
  hand: HandSide;
  name: string;
  /** 0 until known. */
  sampleRateHz: number;
  deviceId?: string;
  firmwareVersion?: number;
  /** `open` and `closed`: counts at the ends of the range in use. */
  channels: readonly { role: ChannelRole; bits: number; open?: number; closed?: number }[];
  /**
   * `heedsEffort`: force follows the effort; absent of what holds nothing. `speedCurlPerS`: of string stops, as the profile
   * has it. `unused`: why it never holds its finger.
   */
  actuators: readonly {
    role: ActuatorRole;
    kind: ActuatorKind;
    heedsEffort?: boolean;
    speedCurlPerS?: number;
    unused?: Unused;
  }[];
  skeleton: Skeleton;
  /** OpenXR input paths that this hand has. */
  inputPaths: readonly string[];
  /** Largest string tension that the profile permits. */
  maxTensionN?: number;
  /** Of the wrist in the frame of the tracker on it, as fitted: [x, y, z, qx, qy, qz, qw]. */
  mount?: readonly number[];
  /** The wearer's own settings of how forces feel, applied to what apps ask for. */
  feel?: WearerFeel;
  /** How the wearer arms it, to complete "To arm: …". */
  howToArm: string;
}

export interface GloveListener {
  /** A new pose. `frame` is reused. Also called once with valid = false when the link goes silent. */
  frame?(frame: HandFrame): void;
  /** The glove has changed (first hello, other side, other channels): welcome apps again. */
  described?(): void;
  /** Link, battery, channel verdicts or faults changed. */
  health?(): void;
  /** What the governor grants changed. */
  resistance?(): void;
  /** Inputs changed. */
  inputs?(): void;
  /** A gesture began or ended, or what is touched is held otherwise. */
  gestures?(): void;
  /** Bytes arrived from the glove; `chunk` is valid only during the call. */
  bytes?(chunk: Uint8Array, arrivalUs: number): void;
  /** Bytes went to the glove; `bytes` is valid only during the call. */
  sent?(bytes: Uint8Array, timeUs: number): void;
  /** An app's request arrived, whether or not it is granted. */
  asked?(app: string, request: AppRequest, refusal: Refusal | undefined): void;
}

/** Requests of apps, as recorded. */
export type AppRequest =
  | AppMessageOf<'resist'>
  | AppMessageOf<'touch'>
  | AppMessageOf<'pulse'>
  | AppMessageOf<'tracker'>
  | { type: 'release'; layer?: string }
  | { type: 'arm' | 'disarm' | 'rezero' };

/** What an app's pose came to: taken, taken but of no use for this reason, or refused. */
export type TrackOutcome = { limited?: string } | { refused: Refusal };

/** Something about a glove that its owner should mend or know, in whole sentences. */
export interface Trouble {
  /** The part: `link`, `samples`, a channel's role, `battery`, `profile`. */
  what: string;
  /** wrong: something does not work; attention: it works, but not all of it or not as well as it could. */
  state: 'wrong' | 'attention';
  says: string;
  remedy?: string;
}

/** A better fit than the one in use, learned from ordinary motion, that waits for the wearer to take it. */
export interface FitOffer {
  /** Channels that it would change. */
  channels: ChannelRole[];
  /** The greatest change, degrees, and what it may be wrong by at most, one standard deviation. */
  differsDeg: number;
  uncertaintyDeg: number;
  /** Sticks and triggers that it would change. */
  controls?: ChannelRole[];
  /** A better dead zone for the stick. */
  stickDeadZone?: number;
}

/** Counts of a glove since it was made. */
export interface GloveMetrics {
  counters: LinkCounters;
  clock: TimeSyncStatus;
  /** Samples a second, measured. */
  rateHz: number;
  poses: number;
  /** Releases sent to the glove. */
  releases: number;
  /** Times each limit of the governor began to act. */
  interventions: Record<string, number>;
}

/** One physical glove, as the stream and the recorder see it. */
export interface Glove {
  readonly description: GloveDescription;
  /** Fits that are merged over the profile. */
  readonly fitsInUse: FitsInUse;
  /** The drift that was seen and followed, for a recording that begins now. */
  rememberDrift(): number[];
  readonly linkStatus: LinkStatus;
  /** It is on a live link and has described itself: only then can it be armed. */
  readonly connected: boolean;
  readonly armed: boolean;
  /** It shows a recording: there is no hand in it to act on. */
  readonly recorded: boolean;
  /** The newest frame. */
  readonly frame: HandFrame;
  listen(listener: GloveListener): () => void;
  /** The newest pose extrapolated by `aheadS` (0..0.05 s) into `poses` (26 × POSE_STRIDE). */
  predict(aheadS: number, poses: Float64Array): void;
  /**
   * The newest pose as it is to be shown, fingers that touch resting on the surface.
   * @param aheadS predicted by so much, 0..0.05 s
   * @param poses gets 26 × POSE_STRIDE
   * @param pressures gets how firmly each finger presses, 0..1
   */
  rest(aheadS: number, poses: Float64Array, pressures: Float64Array): void;
  /** Current inputs as a message body; `seq` is the caller's. */
  readInputs(): Omit<ServerMessageOf<'inputs'>, 'type' | 'seq'>;
  /** What the hand is doing. */
  readGestures(): Omit<ServerMessageOf<'gestures'>, 'type'>;
  /** What the sensors say now. */
  readSignals(): Omit<ServerMessageOf<'signals'>, 'type'>;
  readMetrics(): GloveMetrics;
  readHealth(): Omit<ServerMessageOf<'health'>, 'type'>;
  /** What its owner should mend or know; empty when all is well. */
  readTroubles(): Trouble[];
  /** A fit learned from ordinary motion that is better than the one in use; undefined: none. */
  readFromUse(): FitOffer | undefined;
  /** What the governor grants now, and its events since the last call. */
  readResistance(): Omit<ServerMessageOf<'resistance'>, 'type'>;
  /** The same for a recorder: with the events since `since.event`, which is advanced. No reader loses any. */
  recordResistance(since: { event: number }): Omit<ServerMessageOf<'resistance'>, 'type'>;
  resist(app: string, request: AppMessageOf<'resist'>): Refusal | undefined;
  touch(app: string, request: AppMessageOf<'touch'>): Refusal | undefined;
  /** @param grasps it is of an application that only vibrates, and the profile permits to hold fingers for it */
  pulse(app: string, request: AppMessageOf<'pulse'>, grasps?: boolean): Refusal | undefined;
  release(app: string, layer?: string): void;
  /** The app is gone: everything it asked for is dropped at once. */
  drop(app: string): void;
  /** Where the hand is. @param app its id; @param name for people */
  track(request: AppMessageOf<'tracker'>, app?: string, name?: string): TrackOutcome;
  /** The hand is held open now: the present readings count as open from here on. */
  rezero(by: string): void;
  /** Permits forces. @returns why not */
  arm(by: string, who: WhoArms): Refusal | undefined;
  /** Frees every finger. After the wearer has done it, no app arms until the wearer has armed again. */
  disarm(by: string, who: WhoArms): void;
}
