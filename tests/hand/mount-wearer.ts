import {
  createPoses,
  createSkeleton,
  DOF_COUNT,
  FINGERS,
  forwardKinematics,
  type HandSide,
  POSE_STRIDE,
  type Skeleton,
} from '../../src/hand/index.js';
import type { MountSample } from '../../src/hand/mount-model.js';
import {
  conjugate,
  multiply,
  type Quaternion,
  rotate,
  turnBy,
  type Vector,
} from '../../src/hand/rotation.js';
import { CHAIN_START } from '../../src/hand/skeleton.js';
import { seeded } from './chain.js';

/** A wearer with a tracker on the glove, who touches a point: what is off is drawn from normal distributions. */
export interface WearerOptions {
  seed: number;
  side?: HandSide;
  trackerNoiseM?: number;
  trackerNoiseDeg?: number;
  jointBiasDeg?: number;
  bonePart?: number;
  /** The sensors of index and ring finger read so much less, of their widest joint, degrees. */
  sensorsOffDeg?: number;
  /** Where on the fingertip it touches, from the middle between pad and end. */
  touchM?: number;
  /** The same, of every finger: along the skin from the pad towards the end. */
  touchAlongM?: number;
  /** How far from the spot each finger comes down. */
  aimM?: number;
  /** How far out to the skin it touches, 0 (the tip joint) to 1. */
  outPart?: number;
  /** The fingertip rolls on the point: up to this part of the way from its joint to the skin stays as it was. */
  rollPart?: number;
  /** One finger slips so far, for a while. */
  slipM?: number;
  /** What the axes of nodding and waving are off, degrees, and how far the wrist wanders meanwhile, m. */
  motionOffDeg?: number;
  motionOffM?: number;
  /** Turning of the hand, degrees. */
  turnDeg?: number;
  fingers?: readonly number[];
  samplesOfAFinger?: number;
}

export interface Wearer {
  readonly mount: Float64Array;
  readonly skeleton: Skeleton;
  /** What the service believes. */
  readonly believed: Skeleton;
  readonly bias: Float64Array;
  readonly samples: MountSample[];
  /** The same moments: where the wrist and the touching tip joint truly are, in the world. */
  readonly truth: { wrist: Float64Array; tip: Vector }[];
  /** Other poses of the same hand, from open to closed: what the glove says, and the joint angles that are true. */
  readonly others: { said: Float64Array; dofs: Float64Array }[];
  readonly nod: Float64Array[];
  readonly wave: Float64Array[];
}

export const compose = (a: ArrayLike<number>, b: ArrayLike<number>): Float64Array => {
  const q: Quaternion = [a[3], a[4], a[5], a[6]];
  const [x, y, z] = rotate(q, [b[0], b[1], b[2]]);
  return Float64Array.of(a[0] + x, a[1] + y, a[2] + z, ...multiply(q, [b[3], b[4], b[5], b[6]]));
};
export const inverse = (a: ArrayLike<number>): Float64Array => {
  const q = conjugate([a[3], a[4], a[5], a[6]]);
  const [x, y, z] = rotate(q, [-a[0], -a[1], -a[2]]);
  return Float64Array.of(x, y, z, ...q);
};
export const angleBetweenDeg = (a: ArrayLike<number>, b: ArrayLike<number>): number => {
  const [x, y, z, w] = multiply(conjugate([a[3], a[4], a[5], a[6]]), [b[3], b[4], b[5], b[6]]);
  return (2 * Math.atan2(Math.hypot(x, y, z), Math.abs(w)) * 180) / Math.PI;
};
export const apartM = (a: ArrayLike<number>, b: ArrayLike<number>): number =>
  Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);

const rad = Math.PI / 180;

export function createNormal(random: () => number): () => number {
  return () => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random());
}

export function createMountWearer(options: WearerOptions): Wearer {
  const { seed, side = 'right', turnDeg = 30, samplesOfAFinger = 30 } = options;
  const random = seeded(seed);
  const normal = createNormal(random);
  const vector = (size: number): Vector => [size * normal(), size * normal(), size * normal()];
  const anyTurn = (): Quaternion => turnBy([0, 0, 0, 1], scaled(vector(1), Math.PI * random()));
  const mount = Float64Array.of(...scaled(vector(1), 0.02 + 0.1 * random()), ...anyTurn());
  const believed = createSkeleton({ side });
  const bones = Object.fromEntries(
    FINGERS.map((finger) => [
      finger,
      believed.boneLengthsM[finger].map((length) => length * (1 + (options.bonePart ?? 0.03) * normal())),
    ]),
  );
  const skeleton = createSkeleton({ side, boneLengthsM: bones });
  const bias = Float64Array.from({ length: DOF_COUNT }, (_, i) =>
    i < 20 ? (options.jointBiasDeg ?? 3) * rad * normal() : 0,
  );
  for (const finger of options.sensorsOffDeg ? [1, 3] : []) {
    for (const [i, part] of [0.9, 0, 1, 0.6].entries()) {
      bias[4 * finger + i] += rad * options.sensorsOffDeg! * part;
    }
  }
  const point: Vector = [0.3 + 0.2 * normal(), 0.9 + 0.1 * normal(), -0.4 + 0.2 * normal()];
  const seen = (wrist: Float64Array): Float64Array => {
    const tracker = compose(wrist, inverse(mount));
    const noise = vector(options.trackerNoiseM ?? 0.001);
    const turn = turnBy(
      [tracker[3], tracker[4], tracker[5], tracker[6]],
      vector(((options.trackerNoiseDeg ?? 0.3) * rad) / Math.sqrt(3)),
    );
    return Float64Array.of(tracker[0] + noise[0], tracker[1] + noise[1], tracker[2] + noise[2], ...turn);
  };

  const samples: MountSample[] = [];
  const truth: Wearer['truth'] = [];
  const poses = createPoses();
  const slipping = options.slipM ? Math.floor(5 * random()) : -1;
  for (const finger of options.fingers ?? [0, 1, 2, 3, 4]) {
    const middle = turnBy(turnBy([0, 0, 0, 1], [-0.5, 0, 0]), vector(0.25));
    const touch = vector(options.touchM ?? 0.002);
    const along = (options.touchAlongM ?? 0) * Math.SQRT1_2;
    touch[1] += along;
    touch[2] -= along;
    const phases = vector(3);
    const roll = (options.rollPart ?? 0.5) * random();
    let first: Vector | undefined;
    const rate = 2 + random();
    const slipFrom = random() * 0.7;
    const slipTo = slipFrom + 0.1 + 0.2 * random();
    const slip = scaled(vector(1), (options.slipM ?? 0) * (0.5 + random()));
    const aim = options.aimM === undefined ? [0, 0, 0] : vector(options.aimM);
    for (let n = 0; n < samplesOfAFinger; n++) {
      const t = (3 * n) / samplesOfAFinger;
      const swing = phases.map(
        (phase, k) => turnDeg * rad * (k === 2 ? 0.5 : 1) * Math.sin(rate * (1 + 0.3 * k) * t + phase),
      );
      const turn = turnBy(middle, swing);
      const dofs = new Float64Array(DOF_COUNT);
      for (let f = 0; f < 5; f++) {
        const bent = f === finger ? [25, 0, 25, 15] : [50, 0, 60, 40];
        const own = f === 0 ? [8, 35, 15, 20] : bent;
        for (let i = 0; i < 4; i++)
          dofs[4 * f + i] = rad * (own[i] + 6 * Math.sin(0.9 * rate * t + phases[i % 3] + i));
      }
      forwardKinematics(skeleton, dofs, poses);
      const tip = (CHAIN_START[finger] + 3) * POSE_STRIDE;
      const inside = (options.outPart ?? 1) * Math.SQRT1_2 * skeleton.radii[CHAIN_START[finger] + 3];
      const touching = [touch[0], touch[1] - inside, touch[2] - inside];
      const turned = rotate(multiply(turn, poses.subarray(tip + 3, tip + 7)), touching);
      first ??= turned;
      const tipAt = rotate(turn, poses.subarray(tip, tip + 3));
      const held = [0, 1, 2].map((k) => tipAt[k] + (1 - roll) * turned[k] + roll * first![k]);
      const part = n / samplesOfAFinger;
      const off = finger === slipping && part > slipFrom && part < slipTo ? slip : [0, 0, 0];
      const wrist = Float64Array.of(...[0, 1, 2].map((k) => point[k] + aim[k] + off[k] - held[k]), ...turn);
      truth.push({ wrist, tip: [0, 1, 2].map((k) => wrist[k] + tipAt[k]) as Vector });
      samples.push({ finger, tracker: seen(wrist), dofs: dofs.map((angle, i) => angle - bias[i]) });
    }
  }

  // Nod and wave: a wrist's axes are not those of its frame, and it does not turn about one point.
  // The palm is down, the hand points anywhere.
  const still = turnBy(turnBy([0, 0, 0, 1], vector(0.2)), [0, 6 * random(), 0]);
  const axis = (of: Vector, offDeg: number): Vector =>
    rotate(turnBy([0, 0, 0, 1], vector((offDeg * rad) / Math.sqrt(3))), of);
  const nodAxis = axis([1, 0, 0], options.trackerNoiseM === 0 ? 0 : (options.motionOffDeg ?? 5));
  const waveAxis = axis([0, 1, 0], options.trackerNoiseM === 0 ? 0 : (options.motionOffDeg ?? 5));
  const centre = options.trackerNoiseM === 0 ? [0, 0, 0] : vector(options.motionOffM ?? 0.004);
  // Drawn apart, so that what is above stays as it was.
  const aside = seeded(seed ^ 0x5a17e);
  const others = Array.from({ length: 20 }, () => {
    const dofs = new Float64Array(DOF_COUNT);
    for (let f = 0; f < 5; f++) {
      const bent = aside();
      const own = f === 0 ? [15 * bent, 35, 50 * bent, 50 * bent] : [80 * bent, 0, 90 * bent, 55 * bent];
      own[1] += 10 * (2 * aside() - 1);
      for (let i = 0; i < 4; i++) dofs[4 * f + i] = rad * own[i];
    }
    return { dofs, said: dofs.map((angle, i) => angle - bias[i]) };
  });
  const swings = (about: Vector, first: number, sizeRad: number): Float64Array[] =>
    Array.from({ length: 60 }, (_, n) => {
      const angle = first * sizeRad * Math.sin((2 * Math.PI * n) / 30);
      const turn = multiply(still, turnBy([0, 0, 0, 1], scaled(about, angle)));
      const out = rotate(turn, centre);
      return seen(Float64Array.of(...[0, 1, 2].map((k) => point[k] - out[k]), ...turn));
    });
  const nod = swings(nodAxis, -1, 35 * rad);
  const wave = swings(waveAxis, side === 'right' ? 1 : -1, 18 * rad);
  return { mount, skeleton, believed, bias, samples, truth, others, nod, wave };
}

function scaled(v: Vector, to: number): Vector {
  const length = Math.hypot(...v) || 1;
  return [(v[0] / length) * to, (v[1] / length) * to, (v[2] / length) * to];
}

/**
 * Where the five fingertips are shown against where they are, rms over them and over poses that no fit has seen, m: what
 * a mount, and what joints and bones are off, put into them. The noise of the tracker at the moment comes on top.
 */
export function tipErrorM(
  { others, mount: trueMount, skeleton, believed }: Wearer,
  mount: ArrayLike<number>,
  bias?: ArrayLike<number>,
): number {
  const [shown, real] = [createPoses(), createPoses()];
  let square = 0;
  for (const { said, dofs } of others) {
    forwardKinematics(believed, bias ? said.map((angle, i) => angle + bias[i]) : said, shown, pose(mount));
    forwardKinematics(skeleton, dofs, real, pose(trueMount));
    for (const start of CHAIN_START) {
      const tip = (start + 3) * POSE_STRIDE;
      square += apartM(shown.subarray(tip, tip + 3), real.subarray(tip, tip + 3)) ** 2;
    }
  }
  return Math.sqrt(square / (others.length * CHAIN_START.length));
}

/** The same of the touching fingertips in the samples that were fitted to, with the noise of the tracker in them. */
export function touchErrorM(
  { samples, truth, believed }: Wearer,
  mount: ArrayLike<number>,
  bias?: ArrayLike<number>,
): number {
  const poses = createPoses();
  let square = 0;
  for (const [n, { finger, tracker, dofs }] of samples.entries()) {
    const angles = bias ? dofs.map((angle, i) => angle + bias[i]) : dofs;
    forwardKinematics(believed, angles, poses, compose(tracker, mount));
    const tip = (CHAIN_START[finger] + 3) * POSE_STRIDE;
    square += apartM(poses.subarray(tip, tip + 3), truth[n].tip) ** 2;
  }
  return Math.sqrt(square / samples.length);
}

const pose = (of: ArrayLike<number>): Float64Array => Float64Array.from(of);
