import { JOINT_COUNT, POSE_STRIDE, VELOCITY_STRIDE, WRIST } from '../hand/joints.js';
import { carryBy, composePoses } from '../hand/rigid.js';
import type { AppMessageOf } from '../protocol/messages.js';
import type { WristReport } from '../protocol/wrist-report.js';
import type { HandFrame, TrackOutcome } from './view.js';
import { createWristSource, isAlive, takePose, type WristSource } from './wrist-source.js';

export type TrackerRequest = AppMessageOf<'tracker'>;

/**
 * Where the wrist of one hand is. Apps say where the wrist is, or where what is strapped to the hand is, which the
 * mount carries to the wrist. Among several the newest that has been steady for a while wins; with none, the hand is
 * around its wrist, turned by the glove's own sensor if it has one.
 */
export interface GloveWrist {
  /** [x, y, z, qx, qy, qz, qw] */
  readonly root: Float64Array;
  /** From the tracker to the wrist, as fitted; undefined: not known. */
  mount: ArrayLike<number> | undefined;
  /**
   * @param turn by the glove's own sensor
   * @param timeUs of the sample
   * @returns the root for the present pose; undefined for the identity
   */
  place(turn: ArrayLike<number>, timeUs: number, nowUs: number): Float64Array | undefined;
  /** Adds the wrist's own motion to velocities that take it as still. */
  carry(poses: Float64Array, velocities: Float64Array): void;
  /** The root carried on by its velocity. */
  ahead(aheadS: number): Float64Array;
  /** @param app its id; @param name for people */
  track(request: TrackerRequest, nowUs: number, app?: string, name?: string): TrackOutcome;
  /** An app is gone. */
  drop(app: string): void;
  /** As if no tracker had ever been there. */
  forget(): void;
  /** Where the tracker was at a time, for a fit of its mount. @returns which tracker that is; 0: there is none */
  trackerAt(timeUs: number, nowUs: number, pose: Float64Array): number;
  report(nowUs: number): WristReport;
}

/** Another source takes over when it has been steady for so long. */
const STEADY_US = 500_000;
/** Two that differ by more do not speak of the same hand. */
const DISAGREE_M = 0.05;
const DISAGREE_RAD = 0.35;
const MOST_SOURCES = 8;
const DELAY_READ_US = 500_000;
const NO_MOUNT =
  'The mount of the tracker on this hand is not fitted, so joints stay around the wrist: run `tautline fit --mount`.';

/**
 * @param frame its `space` and `world` are kept
 * @param forearmM with no tracker, and a sensor of its own that turns the wrist, the wrist is at the end of a forearm so
 *   long, in line with it, about an elbow that stays put; the origin is where the wrist is with the forearm along -Z.
 *   Nothing is known of the elbow: the space is still that of the wrist. 0: without
 */
export function createGloveWrist(frame: HandFrame, forearmM = 0): GloveWrist {
  const root = Float64Array.of(0, 0, 0, 0, 0, 0, 1);
  const velocity = new Float64Array(6);
  const carried = new Float64Array(7);
  const other = new Float64Array(7);
  const sources: WristSource[] = [];
  let inUse: WristSource | undefined;
  let turnedUs = Number.NaN;
  let readUs = Number.NEGATIVE_INFINITY;
  /** Time of the sample that is placed. */
  let placedUs = 0;
  let disagrees: string | undefined;

  const usable = (source: WristSource, nowUs: number): boolean =>
    isAlive(source, nowUs) && source.track.trusted && (source.of === 'wrist' || wrist.mount !== undefined);

  /** The newest that is steady; the one in use stays unless it stops or a newer one has been steady for a while. */
  function choose(nowUs: number): void {
    if (inUse && !usable(inUse, nowUs)) inUse = undefined;
    for (let i = 0; i < sources.length; i++) {
      const source = sources[i];
      if (source === inUse || !usable(source, nowUs)) continue;
      if (!inUse || (source.sinceUs > inUse.sinceUs && nowUs - source.sinceUs >= STEADY_US)) inUse = source;
    }
  }

  function placeBy(source: WristSource, timeUs: number, pose: Float64Array, speed?: Float64Array): boolean {
    if (!source.track.at(timeUs + source.delayUs, pose, speed)) return false;
    const { mount } = wrist;
    if (source.of === 'wrist' || !mount) return true;
    const [x, y, z] = [pose[0], pose[1], pose[2]];
    composePoses(pose, mount, pose);
    if (speed) addLever(speed, pose[0] - x, pose[1] - y, pose[2] - z);
    return true;
  }

  function measureDelay(nowUs: number): void {
    if (!inUse || nowUs - readUs < DELAY_READ_US) return;
    readUs = nowUs;
    const late = inUse.delay.read();
    if (late !== undefined) {
      inUse.delayUs = inUse.delayMeasured ? inUse.delayUs + (late - inUse.delayUs) / 4 : late;
      inUse.delayMeasured = true;
    }
    compare(nowUs);
  }

  /** Whether another source puts the hand elsewhere. */
  function compare(nowUs: number): void {
    disagrees = undefined;
    for (const source of sources) {
      if (source === inUse || !usable(source, nowUs) || !placeBy(source, placedUs, other)) continue;
      if (source.world && inUse?.world && source.world !== inUse.world) {
        disagrees = `${source.name} places this hand in ${source.world} space, ${inUse.name} in ${inUse.world} space: end one of them, or let both use the same.`;
        continue;
      }
      const far = Math.hypot(other[0] - root[0], other[1] - root[1], other[2] - root[2]);
      let dot = 0;
      for (let k = 3; k < 7; k++) dot += other[k] * root[k];
      const turned = 2 * Math.acos(Math.min(1, Math.abs(dot)));
      if (far < DISAGREE_M && turned < DISAGREE_RAD) continue;
      disagrees = `${source.name} puts this hand ${(far * 100).toFixed(0)} cm and ${((turned * 180) / Math.PI).toFixed(0)} degrees from where ${inUse?.name} has it: end one of them.`;
    }
  }

  function sourceOf(app: string, name: string, nowUs: number): WristSource {
    let source = sources.find((one) => one.app === app);
    if (!source) {
      source = createWristSource(app, name);
      if (sources.length >= MOST_SOURCES) {
        const gone = sources.findIndex((one) => one !== inUse && !isAlive(one, nowUs));
        sources.splice(Math.max(0, gone), 1);
      }
      sources.push(source);
    }
    source.name = name;
    return source;
  }

  const wrist: GloveWrist = {
    root,
    mount: undefined,
    place(turn, timeUs, nowUs) {
      placedUs = timeUs;
      if (sources.length > 0) {
        if (turn[3] !== 1) {
          for (let i = 0; i < sources.length; i++) sources[i].delay.glove(timeUs, turn);
        }
        choose(nowUs);
        measureDelay(nowUs);
      }
      turnedUs = turn[3] === 1 ? turnedUs : nowUs;
      if (inUse && placeBy(inUse, timeUs, root, velocity)) {
        frame.space = 'world';
        frame.world = inUse.world;
        return root;
      }
      frame.space = 'wrist';
      frame.world = undefined;
      velocity.fill(0);
      root[0] = 0;
      root[1] = 0;
      root[2] = 0;
      root.set(turn, 3);
      if (forearmM > 0 && turn[3] !== 1) placeOnArm(root, forearmM);
      return turn[3] === 1 ? undefined : root;
    },
    carry(poses, velocities) {
      if (frame.space !== 'world') return;
      const vx = velocity[0];
      const vy = velocity[1];
      const vz = velocity[2];
      const wx = velocity[3];
      const wy = velocity[4];
      const wz = velocity[5];
      const at = WRIST * POSE_STRIDE;
      for (let joint = 0; joint < JOINT_COUNT; joint++) {
        const from = joint * POSE_STRIDE;
        const to = joint * VELOCITY_STRIDE;
        const x = poses[from] - poses[at];
        const y = poses[from + 1] - poses[at + 1];
        const z = poses[from + 2] - poses[at + 2];
        velocities[to] += vx + wy * z - wz * y;
        velocities[to + 1] += vy + wz * x - wx * z;
        velocities[to + 2] += vz + wx * y - wy * x;
        velocities[to + 3] += wx;
        velocities[to + 4] += wy;
        velocities[to + 5] += wz;
      }
    },
    ahead(aheadS) {
      if (frame.space !== 'world') return root;
      carried.set(root);
      carryBy(carried, velocity, aheadS);
      return carried;
    },
    track(request, nowUs, app = '', name = app) {
      const source = sourceOf(app, name, nowUs);
      const taken = takePose(source, request, nowUs);
      if (typeof taken !== 'number') return { refused: taken };
      if (taken > 0) {
        return {
          limited: `It jumped by ${taken.toFixed(1)} m or radians since the last pose: the hand is around its wrist until it is steady.`,
        };
      }
      if (source.of === 'tracker' && !wrist.mount) return { limited: NO_MOUNT };
      return {};
    },
    drop(app) {
      const at = sources.findIndex((source) => source.app === app);
      if (at < 0) return;
      if (sources[at] === inUse) inUse = undefined;
      sources.splice(at, 1);
    },
    forget() {
      sources.length = 0;
      inUse = undefined;
      disagrees = undefined;
      turnedUs = Number.NaN;
      readUs = Number.NEGATIVE_INFINITY;
      velocity.fill(0);
      frame.space = 'wrist';
      frame.world = undefined;
      root.fill(0);
      root[6] = 1;
    },
    trackerAt(timeUs, nowUs, pose) {
      const of = inUse?.of === 'tracker' ? inUse : undefined;
      const source =
        of ?? sources.find((one) => one.of === 'tracker' && isAlive(one, nowUs) && one.track.trusted);
      return source?.track.at(timeUs + source.delayUs, pose) ? source.number : 0;
    },
    report(nowUs) {
      if (!inUse) {
        const turned = nowUs - turnedUs < 1e6;
        const unmounted = sources.some((one) => one.of === 'tracker' && isAlive(one, nowUs) && !wrist.mount);
        return {
          source: turned ? 'glove' : 'none',
          ...(turned && forearmM > 0 ? { forearmMm: forearmM * 1000 } : {}),
          ...(unmounted ? { note: NO_MOUNT } : {}),
        };
      }
      const { name, of, world, track, arrivedUs, delayUs, delayMeasured } = inUse;
      return {
        source: 'app',
        app: name,
        of,
        ...(world ? { world } : {}),
        ageMs: Math.max(0, (nowUs - arrivedUs) / 1000),
        jitterMm: track.jitterM * 1000,
        delayMs: delayUs / 1000,
        delayBy: delayMeasured ? 'motion' : 'stated',
        ...(disagrees === undefined ? {} : { note: disagrees }),
      };
    },
  };
  return wrist;
}

/** From where it is with the forearm along -Z: what a forearm along the wrist's own -Z moves it by. */
function placeOnArm(root: Float64Array, forearmM: number): void {
  const x = root[3];
  const y = root[4];
  const z = root[5];
  const w = root[6];
  root[0] = -2 * forearmM * (x * z + w * y);
  root[1] = -2 * forearmM * (y * z - w * x);
  root[2] = 2 * forearmM * (x * x + y * y);
}

/** Velocity of another point of the same body. */
function addLever(speed: Float64Array, x: number, y: number, z: number): void {
  const wx = speed[3];
  const wy = speed[4];
  const wz = speed[5];
  speed[0] += wy * z - wz * y;
  speed[1] += wz * x - wx * z;
  speed[2] += wx * y - wy * x;
}
