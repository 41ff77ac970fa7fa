// Four keys below the open hand, one for each finger; the thumb moves across. Plain arithmetic, in the frame of the
// wrist, metres.

const FINGERS = ['index', 'middle', 'ring', 'little'];
const TIPS = ['index-finger-tip', 'middle-finger-tip', 'ring-finger-tip', 'pinky-finger-tip'];
/** A key: across, thick, along the finger. */
export const KEY_SIZE = [0.019, 0.012, 0.1];
/** The middle of a key lies nearer to the hand than the tip of an open finger: a tip that bends moves back. */
const BACK = 0.03;
/** What is felt reaches far down: a finger that was faster than its stop is not below it. */
const BED = 0.08;
/** Between the pad of an open finger and its key. */
const GAP = 0.012;
/** Parts of the travel at which a key sounds, and at which it can sound again. */
const DOWN = 0.6;
const UP = 0.3;

const rotate = ([x, y, z], [qx, qy, qz, qw]) => {
  const [tx, ty, tz] = [2 * (qy * z - qz * y), 2 * (qz * x - qx * z), 2 * (qx * y - qy * x)];
  return [x + qw * tx + qy * tz - qz * ty, y + qw * ty + qz * tx - qx * tz, z + qw * tz + qx * ty - qy * tx];
};

/**
 * Keys for a hand.
 * @param {{ restPoses: number[][], radiiM: number[] }} skeleton as `welcome` gives it
 * @param {string[]} jointOrder
 */
export function createKeys({ restPoses, radiiM }, jointOrder) {
  return FINGERS.map((finger, i) => {
    const joint = jointOrder.indexOf(TIPS[i]);
    const [x, y, z, ...turn] = restPoses[joint];
    const radius = radiiM[joint];
    // The pad of a finger looks along its -y.
    const up = rotate([0, 1, 0], turn);
    const back = rotate([0, 0, 1], turn);
    const top = radius + GAP;
    return {
      finger,
      joint,
      radius,
      orientation: turn,
      up,
      /** Middle of the upper face while nobody presses. */
      face: [x, y, z].map((v, i) => v - up[i] * top + back[i] * BACK),
      /** How far it is pressed, 0..1 of the travel. */
      pressed: 0,
      down: false,
    };
  });
}

/** Where the middle of a key is, pressed by a part of its travel. */
export function middleOf({ face, up }, pressed, travel) {
  const below = KEY_SIZE[1] / 2 + pressed * travel;
  return face.map((v, i) => v - up[i] * below);
}

/** Where keys cannot be pressed further, as one shape: there fingers are stopped. */
export function bottomOf(keys, travel) {
  return {
    kind: 'compound',
    parts: keys.map(({ face, up, orientation }) => ({
      shape: { kind: 'box', size: [KEY_SIZE[0], BED, KEY_SIZE[2]] },
      position: face.map((v, i) => v - up[i] * (travel + BED / 2)),
      orientation,
    })),
  };
}

/**
 * Presses keys as far as fingers push them.
 * @param poses of a hand: 26 × 8 numbers
 * @returns keys that have gone down since the last time
 */
export function press(keys, poses, travel) {
  return keys.filter((key) => {
    const at = key.joint * 8;
    const away = [0, 1, 2].map((i) => poses[at + i] - key.face[i]);
    const height = away.reduce((sum, v, i) => sum + v * key.up[i], 0) - key.radius;
    key.pressed = Math.min(1, Math.max(0, -height / travel));
    const was = key.down;
    key.down = key.pressed > (was ? UP : DOWN);
    return key.down && !was;
  });
}
