import type { AppMessageOf } from '../protocol/messages.js';
import { unitQuaternion } from '../protocol/quaternion.js';
import type { Refusal } from '../protocol/refusals.js';
import type { World } from '../protocol/wrist-report.js';
import { createMotionDelay, type MotionDelay } from '../sensing/motion-delay.js';
import { createPoseTrack, type PoseTrack } from '../sensing/pose-track.js';

type TrackerRequest = AppMessageOf<'tracker'>;

/** One app that says where a hand is. */
export interface WristSource {
  readonly app: string;
  /** Which tracker, in which space: another one, or another space, has another number. */
  number: number;
  /** For people. */
  name: string;
  /** What its poses are of: the wrist, or what is strapped to the hand. */
  of: 'wrist' | 'tracker';
  /** The space that its poses are in, if it says so. */
  world: World | undefined;
  readonly track: PoseTrack;
  readonly delay: MotionDelay;
  /** It has been sending since, without a pause, µs. */
  sinceUs: number;
  arrivedUs: number;
  expiresUs: number;
  /** How much older its poses are than their time says, µs. */
  delayUs: number;
  /** Set once the delay was seen in the motion. */
  delayMeasured: boolean;
}

const DEFAULT_TTL_MS = 1000;
/** One that sent often has stopped when nothing came for this long, or for so many of its periods. */
const STOPPED_US = 150_000;
const STOPPED_PERIODS = 6;
/** Times are believed within these, µs: clocks of two programs agree no better, and older poses place nothing. */
const AHEAD_US = 50_000;
const LATE_US = 1_000_000;

let numbers = 0;

export const createWristSource = (app: string, name: string): WristSource => ({
  app,
  number: ++numbers,
  name,
  of: 'wrist',
  world: undefined,
  track: createPoseTrack(),
  delay: createMotionDelay(),
  sinceUs: Number.NaN,
  arrivedUs: Number.NEGATIVE_INFINITY,
  expiresUs: Number.NEGATIVE_INFINITY,
  delayUs: 0,
  delayMeasured: false,
});

/** It still sends. */
export function isAlive({ track, arrivedUs, expiresUs }: WristSource, nowUs: number): boolean {
  if (!(nowUs <= expiresUs)) return false;
  const { periodUs } = track;
  if (periodUs === 0 || periodUs > STOPPED_US) return true;
  return nowUs - arrivedUs <= Math.max(STOPPED_US, STOPPED_PERIODS * periodUs);
}

const pose = new Float64Array(7);

/**
 * Takes one pose of a source.
 * @returns how far it jumped (0: it did not), or why it is refused
 */
export function takePose(source: WristSource, request: TrackerRequest, nowUs: number): number | Refusal {
  const [x, y, z] = request.position;
  const turn = unitQuaternion(request.orientation);
  if (typeof turn === 'string') return refusal('/orientation', turn);
  const timeUs = request.timeUs ?? nowUs;
  if (timeUs > nowUs + AHEAD_US) {
    const ms = ((timeUs - nowUs) / 1000).toFixed(0);
    return refusal('/timeUs', `it lies ${ms} ms in the future: give the service's clock, see \`ping\`.`);
  }
  if (timeUs < nowUs - LATE_US) {
    const s = ((nowUs - timeUs) / 1e6).toFixed(1);
    return refusal('/timeUs', `it is ${s} s old: give the service's clock, see \`ping\`.`);
  }
  const of: WristSource['of'] = request.of ?? 'wrist';
  const { world } = request;
  // Of something else, or in another space: what came before says nothing about it.
  const another = source.of !== of || source.world !== world;
  if (another) source.number = ++numbers;
  if (another || !isAlive(source, nowUs)) {
    source.track.forget();
    source.sinceUs = nowUs;
  }
  source.of = of;
  source.world = world;
  if (request.delayMs !== undefined) source.delayUs = request.delayMs * 1000;
  source.arrivedUs = nowUs;
  source.expiresUs = nowUs + (request.ttlMs ?? DEFAULT_TTL_MS) * 1000;
  pose.set([x, y, z, ...turn]);
  const jumped = source.track.add(timeUs, pose);
  if (Number.isNaN(jumped)) return 0;
  source.delay.tracker(timeUs, pose, 3);
  return jumped;
}

const refusal = (path: string, why: string): Refusal => ({
  code: 'badMessage',
  message: `${path.slice(1)}: ${why}`,
  path,
});
