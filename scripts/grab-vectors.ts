/**
 * What every client's grab helper must do, frame by frame: `grabs` of tests/client/vectors.json. When things are taken
 * and let go is written down here as the stories want it; where they are meanwhile is computed by three.js's matrices.
 * Nothing of the clients is used.
 */
import { Matrix4, Quaternion, Vector3 } from 'three';

type Triple = [number, number, number];
type State = 'away' | 'near' | 'held';
interface Frame {
  nowMs: number;
  valid: boolean;
  seq: number;
  carried: boolean;
  /** At the surface. */
  fingers: number;
  /** Where the app has the thing: position and orientation. */
  object: number[];
  /** All joints but the tip of the index finger are where the palm is. */
  palm: number[];
  tip: Triple;
  /** Of the palm; null: not subscribed. */
  velocity: number[] | null;
  /** The app drops the thing before this frame. */
  drop: boolean;
  wants: {
    state: State;
    event: 'grabbed' | 'letGo' | null;
    object: number[];
    inPalm: number[] | null;
    velocity: Triple;
    angularVelocity: Triple;
  };
}

const rigid = (numbers: number[]) =>
  new Matrix4().compose(
    new Vector3(numbers[0], numbers[1], numbers[2]),
    new Quaternion(numbers[3], numbers[4], numbers[5], numbers[6]),
    new Vector3(1, 1, 1),
  );
const numbersOf = (matrix: Matrix4): number[] => {
  const position = new Vector3();
  const turn = new Quaternion();
  matrix.decompose(position, turn, new Vector3());
  return [...position.toArray(), ...turn.toArray()];
};
const turned = (x: number, y: number, z: number, w: number) =>
  new Quaternion(x, y, z, w).normalize().toArray() as number[];

/** One thing and one hand; each call of `frame` is a frame 11 ms later, as it was but for what is named. */
class Story {
  readonly frames: Frame[] = [];
  #inPalm: Matrix4 | undefined;
  #was: Omit<Frame, 'wants'>;

  constructor(
    readonly name: string,
    /** Radius of the sphere around the thing, m. */
    readonly reach: number,
  ) {
    this.#was = {
      nowMs: 1000,
      valid: true,
      seq: 7,
      carried: false,
      fingers: 0,
      object: [0, 0, 0, 0, 0, 0, 1],
      palm: [0.5, 0, 0, 0, 0, 0, 1],
      tip: [0.6, 0, 0],
      velocity: null,
      drop: false,
    };
  }

  frame(
    changes: Partial<Omit<Frame, 'wants'>>,
    state: State,
    event: 'grabbed' | 'letGo' | null = null,
  ): this {
    const frame = {
      ...this.#was,
      nowMs: this.#was.nowMs + 11,
      seq: this.#was.seq + 1,
      drop: false,
      ...changes,
    };
    const palm = rigid(frame.palm);
    const before = this.frames.at(-1)?.wants;
    const lost = event === 'letGo' && state === 'away';
    if (event === 'grabbed') this.#inPalm = palm.clone().invert().multiply(rigid(frame.object));
    if (frame.drop) this.#inPalm = undefined;
    // What is lost stays where it was; everything else that was held has gone with the hand up to this frame.
    const followed = this.#inPalm && event !== 'grabbed';
    const object = lost
      ? before!.object
      : followed
        ? numbersOf(palm.clone().multiply(this.#inPalm!))
        : frame.object;
    let velocity: Triple = before && !frame.drop ? before.velocity : [0, 0, 0];
    let angularVelocity: Triple = before && !frame.drop ? before.angularVelocity : [0, 0, 0];
    if (event === 'letGo' || (state === 'away' && !frame.valid)) {
      const given = lost || !frame.valid ? null : frame.velocity;
      const [x, y, z, wx, wy, wz] = given ?? [0, 0, 0, 0, 0, 0];
      const turning = new Vector3(wx, wy, wz);
      const arm = new Vector3(...object).sub(new Vector3(...frame.palm));
      velocity = new Vector3(x, y, z).add(turning.clone().cross(arm)).toArray() as Triple;
      angularVelocity = turning.toArray() as Triple;
    }
    if (state !== 'held') this.#inPalm = undefined;
    const inPalm = this.#inPalm ? numbersOf(this.#inPalm) : null;
    this.frames.push({ ...frame, wants: { state, event, object, inPalm, velocity, angularVelocity } });
    this.#was = frame;
    // The app takes over where the thing has come to.
    this.#was.object = object;
    return this;
  }
}

const HERE = [0.02, 0.05, 0.03, ...turned(0, 1, 0, 3)];

function grabCarryThrow(): Story {
  const story = new Story('is taken, carried, turned and thrown', 0.035);
  story.frame({ object: [0, 0, 0, ...turned(1, 2, 3, 4)] }, 'away');
  story.frame({ palm: [0.3, 0, 0, 0, 0, 0, 1], tip: [0.2, 0, 0] }, 'away');
  story.frame({ palm: HERE, tip: [0, 0.03, 0] }, 'near');
  story.frame({ fingers: 1 }, 'near');
  story.frame({ fingers: 2 }, 'near');
  story.frame({ fingers: 2, carried: true }, 'held', 'grabbed');
  for (let i = 1; i <= 12; i++) {
    const palm = [0.02 + i * 0.03, 0.05 - i * 0.01, 0.03 + i * i * 0.002, ...turned(i, 12 - i, i / 2, 9)];
    story.frame({ palm, tip: [i, i, i], fingers: i % 4 === 3 ? 5 : 3 }, 'held');
  }
  // Already open with one finger, at once, and as fast as that part of the hand.
  const velocity = [1.5, -0.25, 0.5, 3, -2, 1];
  story.frame({ carried: false, fingers: 1, velocity }, 'near', 'letGo');
  story.frame({ fingers: 0, object: [0.42, -0.05, 0.3, 0, 0, 0, 1] }, 'near');
  story.frame({ object: [0.9, 0.1, 0.2, 0, 0, 0, 1], tip: [0.3, 0, 0] }, 'away');
  return story;
}

function slips(): Story {
  const story = new Story('slips for less than a tenth of a second, and then for good', 0.03);
  story.frame({ palm: HERE, carried: true, fingers: 2 }, 'held', 'grabbed');
  for (let i = 0; i < 10; i++) story.frame({ carried: false }, 'held');
  story.frame({ carried: true }, 'held');
  for (let i = 0; i < 10; i++) story.frame({ carried: false, fingers: 4 }, 'held');
  story.frame({ velocity: [0, 0, -2, 0, 0, 0] }, 'near', 'letGo');
  // Fingers at it are not enough.
  story.frame({ fingers: 5 }, 'near');
  story.frame({ carried: true, velocity: null }, 'held', 'grabbed');
  // Velocities are not subscribed.
  story.frame({ carried: false, fingers: 0 }, 'near', 'letGo');
  return story;
}

function loses(): Story {
  const story = new Story('falls from a hand that is lost, and is taken again', 0.03);
  story.frame({ valid: false, palm: HERE, carried: true, fingers: 3 }, 'away');
  story.frame({ valid: true }, 'held', 'grabbed');
  story.frame({ palm: [0.2, 0.2, 0.2, ...turned(1, 0, 0, 1)], velocity: [1, 1, 1, 1, 1, 1] }, 'held');
  story.frame({ valid: false, palm: [0.3, 0.2, 0.2, 0, 0, 0, 1] }, 'away', 'letGo');
  story.frame({ object: [0.1, 0, 0.1, 0, 0, 0, 1], carried: false, fingers: 0 }, 'away');
  story.frame({ valid: true, palm: HERE }, 'near');
  story.frame({ carried: true, fingers: 2 }, 'held', 'grabbed');
  return story;
}

function silent(): Story {
  const story = new Story('falls from a hand of which nothing comes any more', 0.03);
  story.frame({ palm: HERE, carried: true, fingers: 3 }, 'held', 'grabbed');
  const { seq, nowMs } = story.frames[0];
  story.frame({ seq, nowMs: nowMs + 100 }, 'held');
  story.frame({ seq, nowMs: nowMs + 245 }, 'held');
  story.frame({ seq, nowMs: nowMs + 256 }, 'away', 'letGo');
  story.frame({ seq, nowMs: nowMs + 400 }, 'away');
  story.frame({ seq: 0, nowMs: nowMs + 500 }, 'held', 'grabbed');
  return story;
}

function reach(): Story {
  const story = new Story('is near from 10 cm on until it is 15 cm away', 0.05);
  const tip = (distance: number): Partial<Frame> => ({ tip: [0, 0, 0.05 + distance] });
  story
    .frame(tip(0.12), 'away')
    .frame(tip(0.101), 'away')
    .frame(tip(0.098), 'near')
    .frame(tip(0.148), 'near');
  story.frame(tip(0.152), 'away').frame(tip(0.12), 'away').frame(tip(-0.02), 'near').frame(tip(0.5), 'away');
  // Out of reach nothing is taken, whatever is said of it.
  story.frame({ carried: true, fingers: 5 }, 'away');
  return story;
}

function drops(): Story {
  const story = new Story('is dropped by the app, and taken again after the hand has opened', 0.03);
  const velocity = [1, 0, 0, 0, 0, 0];
  story.frame({ palm: HERE, carried: true, fingers: 3, velocity }, 'held', 'grabbed');
  story.frame({ drop: true, object: [0.01, 0.02, 0, 0, 0, 0, 1] }, 'near');
  story.frame({}, 'near').frame({ carried: false }, 'near').frame({ carried: true }, 'held', 'grabbed');
  story.frame({ carried: false, fingers: 0 }, 'near', 'letGo');
  return story;
}

export const grabVectors = () =>
  [grabCarryThrow(), slips(), loses(), silent(), reach(), drops()].map(({ name, reach, frames }) => ({
    name,
    reach,
    frames,
  }));
