/** What every client, in whatever language, must make of the same input: tests/client/vectors.json. */
import { execFileSync } from 'node:child_process';
import { Matrix4, Quaternion, Vector3 } from 'three';
import { ERROR_CODES } from '../src/errors.js';
import { DOF_COUNT } from '../src/hand/dofs.js';
import { createPoses, forwardKinematics } from '../src/hand/forward.js';
import { FINGERS, type HandSide, JOINT_COUNT, VELOCITY_STRIDE } from '../src/hand/joints.js';
import { createSkeleton } from '../src/hand/skeleton.js';
import { MAX_POSE_FRAME, type PoseMessage } from '../src/stream/encode.js';
import { encodeJointsBinary } from '../src/stream/encode-binary.js';
import { grabVectors } from './grab-vectors.js';
import { holdVectors } from './hold-vectors.js';

/** Of these joints the vectors hold every number. */
const JOINTS_SHOWN = [0, 10, 25];

function poseOf(side: HandSide, bend: number, more: Partial<PoseMessage>): PoseMessage {
  const dofs = new Float64Array(DOF_COUNT).map((_, i) => (i % 4 === 1 ? 0 : bend));
  const poses = createPoses();
  forwardKinematics(createSkeleton({ side }), dofs, poses);
  return {
    hand: side,
    seq: 4_000_000_000,
    timeUs: 123_456_789_012,
    aheadMs: 0,
    valid: true,
    reason: undefined,
    space: 'wrist',
    recorded: false,
    fingerStates: Uint8Array.of(2, 1, 0, 2, 2),
    poses,
    velocities: undefined,
    pressures: undefined,
    ...more,
  };
}

const VELOCITIES = new Float64Array(JOINT_COUNT * VELOCITY_STRIDE).map((_, i) => (i - 70) / 64);
const PRESSURES = Float64Array.of(0, 0.25, 0.5, 0.75, 1);
const GOOD: [string, PoseMessage][] = [
  ['a right hand', poseOf('right', 0.2, {})],
  [
    'a left hand in the world, with velocities',
    poseOf('left', 0.5, { recorded: true, space: 'world', velocities: VELOCITIES }),
  ],
  ['predicted by 63 ms, with pressures', poseOf('right', 0.9, { aheadMs: 63, pressures: PRESSURES })],
  [
    'velocities and pressures',
    poseOf('left', 0.1, { aheadMs: 1, velocities: VELOCITIES, pressures: PRESSURES }),
  ],
  [
    'not valid, and why, in letters of four kinds',
    poseOf('right', 0, { valid: false, reason: 'Glove is silent – żółć 手 🧤', pressures: PRESSURES }),
  ],
];

const bytesOf = (message: PoseMessage): Buffer => {
  const target = Buffer.alloc(MAX_POSE_FRAME);
  return target.subarray(0, encodeJointsBinary(target, 0, message));
};
const float = (values: Float64Array, at: number, count: number): number[] =>
  [...values.subarray(at, at + count)].map(Math.fround);

function records() {
  const good = GOOD.map(([name, message]) => ({
    name,
    hex: bytesOf(message).toString('hex'),
    pose: {
      hand: message.hand,
      seq: message.seq,
      timeUs: message.timeUs,
      poseTimeUs: message.timeUs + 1000 * message.aheadMs,
      space: message.space,
      valid: message.valid,
      recorded: message.recorded,
      reason: message.reason ?? null,
      fingers: Object.fromEntries(
        FINGERS.map((finger, i) => [finger, ['invalid', 'inferred', 'tracked'][message.fingerStates[i]]]),
      ),
      joints: JOINTS_SHOWN.map((joint) => float(message.poses, joint * 8, 8)),
      velocities: message.velocities
        ? JOINTS_SHOWN.map((joint) => float(message.velocities!, joint * VELOCITY_STRIDE, VELOCITY_STRIDE))
        : null,
      pressures: message.pressures ? float(message.pressures, 0, FINGERS.length) : null,
    },
  }));
  const whole = bytesOf(GOOD[3][1]);
  const setting = (set: (bytes: Buffer) => void) => {
    const bytes = Buffer.from(whole);
    set(bytes);
    return bytes;
  };
  const changed = (at: number, value: number) =>
    setting((bytes) => {
      bytes[at] = value;
    });
  const damaged: [string, Buffer][] = [
    ['nothing', Buffer.alloc(0)],
    ['a head alone', whole.subarray(0, 20)],
    ['one byte too few', whole.subarray(0, -1)],
    ['one byte too many', Buffer.concat([whole, Buffer.alloc(1)])],
    ['another kind', changed(0, 2)],
    ['a third hand', changed(1, 2)],
    ['another number of joints', changed(3, 25)],
    ['a flag for what is not there', changed(2, 0)],
    ['a reason beyond the end', changed(19, 1)],
    ['a position that is no number', setting((bytes) => bytes.writeFloatLE(Number.NaN, 20))],
    ['an infinite velocity', setting((bytes) => bytes.writeFloatLE(Number.NEGATIVE_INFINITY, 852 + 8))],
    [
      'an infinite pressure',
      setting((bytes) => bytes.writeFloatLE(Number.POSITIVE_INFINITY, 852 + 624 + 16)),
    ],
    ['a time that is no number', setting((bytes) => bytes.writeDoubleLE(Number.NaN, 8))],
  ];
  return [...good, ...damaged.map(([name, bytes]) => ({ name, hex: bytes.toString('hex'), pose: null }))];
}

const DIRECTIONS: Record<string, Vector3> = {
  x: new Vector3(1, 0, 0),
  y: new Vector3(0, 1, 0),
  z: new Vector3(0, 0, 1),
  '-x': new Vector3(-1, 0, 0),
  '-y': new Vector3(0, -1, 0),
  '-z': new Vector3(0, 0, -1),
};
/** Which direction of OpenXR the x, y and z of an engine are, and its lengths in a metre. */
const AXES = [
  { name: 'OpenXR', axes: ['x', 'y', 'z'], unitsPerMetre: 1 },
  { name: 'left-handed, Y up', axes: ['x', 'y', '-z'], unitsPerMetre: 1 },
  { name: 'left-handed, Z up, centimetres', axes: ['-z', 'x', 'y'], unitsPerMetre: 100 },
  { name: 'right-handed, Z up', axes: ['x', '-z', 'y'], unitsPerMetre: 1 },
  { name: 'of our own', axes: ['-y', 'z', '-x'], unitsPerMetre: 1000 },
];
/** From the stream into the engine, without its lengths: each row is an engine axis. */
const matrixOf = (axes: string[]): Matrix4 => {
  const [x, y, z] = axes.map((name) => DIRECTIONS[name]);
  return new Matrix4().set(x.x, x.y, x.z, 0, y.x, y.y, y.z, 0, z.x, z.y, z.z, 0, 0, 0, 0, 1);
};
const turn = (x: number, y: number, z: number, w: number) => new Quaternion(x, y, z, w).normalize();
const POSES: [string, Vector3, Quaternion][] = [
  ['straight ahead', new Vector3(0, 0, -1), turn(0, 0, 0, 1)],
  ['a quarter turn to the left', new Vector3(0.25, 0, 0), turn(0, 1, 0, 1)],
  ['looking up', new Vector3(0, 1.5, 0), turn(1, 0, 0, 2)],
  ['askew', new Vector3(0.1, -0.2, 0.3), turn(1, 2, -3, 4)],
];

/** By matrices: M R M⁻¹ is the rotation as the engine sees it. */
function axes() {
  return AXES.flatMap((engine) => {
    const matrix = matrixOf(engine.axes);
    return POSES.map(([name, position, orientation]) => {
      const rotation = new Matrix4().makeRotationFromQuaternion(orientation);
      const seen = matrix.clone().multiply(rotation).multiply(matrix.clone().transpose());
      const { x, y, z, w } = new Quaternion().setFromRotationMatrix(seen);
      return {
        name: `${engine.name}: ${name}`,
        axes: engine.axes,
        unitsPerMetre: engine.unitsPerMetre,
        stream: { position: position.toArray(), orientation: orientation.toArray() },
        engine: {
          position: position.clone().applyMatrix4(matrix).multiplyScalar(engine.unitsPerMetre).toArray(),
          orientation: w < 0 ? [-x, -y, -z, -w] : [x, y, z, w],
        },
      };
    });
  });
}

const CORNERS = [-1, 1].flatMap((x) => [-1, 1].flatMap((y) => [-1, 1].map((z) => [x, y, z])));
const ENDS = (axis: number, middle: number, reach: number, radius: number) =>
  [-1, 1].flatMap((end) => {
    const along = [0, 0, 0];
    along[axis] = end * reach;
    const side = [0, 0, 0];
    side[axis] = end * middle;
    side[(axis + 1) % 3] = radius;
    return [along, side];
  });
const WEDGE = [
  [0, 0, 0],
  [0.3, 0, 0],
  [0, 0.2, 0],
  [0, 0, 0.1],
  [0.3, 0, 0.1],
];
/** Colliders as engines keep them, and points of their surface; lengths in metres, made the engine's below. */
const COLLIDERS = [
  {
    kind: 'sphere',
    centre: [0.1, 0, 0],
    numbers: [0.05],
    scale: [2, -2, 2],
    surface: ENDS(0, 0, 0.05, 0.05),
  },
  {
    kind: 'box',
    centre: [0, 0.1, -0.05],
    numbers: [0.1, 0.2, 0.3],
    scale: [1, 0.5, -2],
    surface: CORNERS.map(([x, y, z]) => [x * 0.05, y * 0.1, z * 0.15]),
  },
  ...[0, 1, 2].map((axis) => ({
    kind: 'capsule',
    centre: [0, 0, 0.02],
    numbers: [0.03, 0.16, axis],
    scale: [1.5, 1.5, 1.5],
    surface: ENDS(axis, 0.05, 0.08, 0.03),
  })),
  // Shorter than it is thick.
  {
    kind: 'capsule',
    centre: [0, 0, 0],
    numbers: [0.05, 0.06, 1],
    scale: [1, 1, 1],
    surface: ENDS(0, 0, 0.05, 0.05),
  },
  { kind: 'hull', centre: [0, 0, 0], numbers: WEDGE.flat(), scale: [1, -0.5, 2], surface: WEDGE },
];

/** Surface points go the engine's way: scaled, turned and moved in its own axes, and then by matrix into the stream. */
function colliders() {
  return AXES.flatMap((engine) => {
    const back = matrixOf(engine.axes).transpose();
    return COLLIDERS.map(({ kind, centre, numbers, scale, surface }) => {
      const units = engine.unitsPerMetre;
      const position = new Vector3(0.3, -0.1, 0.2).multiplyScalar(units);
      const rotation = turn(2, -1, 3, 5);
      return {
        name: `${engine.name}: ${kind}`,
        axes: engine.axes,
        unitsPerMetre: units,
        kind,
        centre: centre.map((v) => v * units),
        // The last number of a capsule says along which axis it lies.
        numbers: numbers.map((v, i) => (kind === 'capsule' && i === 2 ? v : v * units)),
        placement: { position: position.toArray(), rotation: rotation.toArray(), scale },
        surface: surface.map((point) =>
          new Vector3(...point)
            .add(new Vector3(...centre))
            .multiplyScalar(units)
            .multiply(new Vector3(...scale))
            .applyQuaternion(rotation)
            .add(position)
            .applyMatrix4(back)
            .divideScalar(units)
            .toArray(),
        ),
      };
    });
  });
}

/** Every code, as an error with a path and one without, and text that JSON escapes. */
const errors = () =>
  Object.entries(ERROR_CODES).map(([code, meaning], i) => ({
    type: 'error' as const,
    ...(i % 3 === 0 ? {} : { id: i % 2 === 0 ? 256 * i : `request ${i}` }),
    code,
    message: i % 4 === 1 ? `${meaning} "${code}" \\ é 🧤` : meaning,
    ...(i % 2 === 0 ? { path: `/fingers/${i}/stopAt` } : {}),
  }));

export function clientVectors(): string {
  const about =
    'Generated by npm run generate from scripts/client-vectors.ts. joints and velocities: those of jointsShown. surface: points of the collider, in the stream. holds: what becomes of a hold, by what the service does. grabs: what a hand does, frame by frame.';
  const vectors = {
    about,
    jointsShown: JOINTS_SHOWN,
    records: records(),
    axes: axes(),
    colliders: colliders(),
    errors: errors(),
    holds: holdVectors(),
    grabs: grabVectors(),
  };
  return execFileSync('npx', ['biome', 'format', '--stdin-file-path=tests/client/vectors.json'], {
    input: JSON.stringify(vectors),
    encoding: 'utf8',
  });
}
