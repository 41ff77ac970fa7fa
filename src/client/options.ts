import type { HandSide } from '../hand/joints.js';
import type { GestureName, StreamName } from '../protocol/constants.js';
import type { ServerMessageOf } from '../protocol/messages.js';
import type { ConnectionState } from './connection.js';
import type { ClientError } from './errors.js';
import type { HandPose } from './pose.js';
import type { Encoding, SocketClass } from './socket.js';

export interface ConnectOptions {
  /**
   * Where the service is. When absent: in Node what the variable TAUTLINE_STREAM says (with the token in
   * TAUTLINE_TOKEN), else `ws://127.0.0.1:7117/stream`. A page that the service itself serves passes `location.origin`.
   */
  url?: string | URL;
  /** Name of the app, for people; at most 40 characters. */
  app?: string;
  /** Every hand when absent. */
  hands?: HandSide[];
  /** Poses and inputs a second at most; every sample when absent. */
  rateHz?: number;
  /** Poses and signals a second that do while the hand rests, for what is looked at; the first move comes at once. */
  restHz?: number;
  /** With velocities, which `poseAt` needs; true when absent. */
  velocities?: boolean;
  /** Show fingers that touch resting on the surface, and give `pressures`. */
  surface?: boolean;
  /** How far the service predicts ahead, ms, 0..50; not needed with `poseAt`. */
  predictMs?: number;
  /** `binary` when absent: smaller, and cheaper to read. */
  encoding?: Encoding;
  /**
   * Write each pose into the one before, so that nothing is allocated for it: for pages and loops that must never wait for
   * the garbage collector. A pose that you keep then changes. Of the binary encoding alone.
   */
  reusePoses?: boolean;
  /** Joints, and everything that has listeners, when absent. */
  streams?: StreamName[];
  /** Needed when the service is open to other machines. */
  token?: string;
  /** Closes the client. */
  signal?: AbortSignal;
  /** WebSocket class of a runtime that has none of its own. */
  WebSocket?: SocketClass;
}

/** What of it can be changed while connected. */
export type SubscriptionOptions = Pick<
  ConnectOptions,
  'hands' | 'rateHz' | 'restHz' | 'velocities' | 'surface' | 'predictMs' | 'streams'
>;

export type Welcome = ServerMessageOf<'welcome'>;
export type Inputs = ServerMessageOf<'inputs'>;
export type ResistanceReport = ServerMessageOf<'resistance'>;
export type HealthReport = ServerMessageOf<'health'>;
export type SignalsReport = ServerMessageOf<'signals'>;
export type GesturesReport = ServerMessageOf<'gestures'>;
export interface GestureChange {
  hand: HandSide;
  gesture: GestureName;
  /** It began; false: it ended. */
  active: boolean;
  /** When, by the service's clock. */
  timeUs: number;
}
export interface StateChange {
  state: ConnectionState;
  /** Why it is not open. */
  reason: string | undefined;
}

export interface ClientEvents {
  joints: HandPose;
  inputs: Inputs;
  resistance: ResistanceReport;
  health: HealthReport;
  signals: SignalsReport;
  /** What the hand is doing and holding, whenever that changes. */
  gestures: GesturesReport;
  /** One gesture began or ended. */
  gesture: GestureChange;
  welcome: Welcome;
  state: StateChange;
  error: ClientError;
}
