import { FINGERS } from '../../src/hand/index.js';
import { multiply, type Quaternion, rotate, turnBy, type Vector } from '../../src/hand/rotation.js';

/** How a wearer's wrist moves for each move of a fit of the mount, in the world. */
export interface MountMotion {
  /**
   * @param sinceS into the move
   * @param touchOf where a fingertip touches, in the frame of the wrist
   */
  wristAt(move: string, sinceS: number, touchOf: (finger: number) => Vector): Float64Array;
}

const POINT: Vector = [0.25, 0.74, -0.35];
/** Time to understand, and to get there. */
const REACTS_S = 1.2;

export function createMountMotion(side: 'left' | 'right'): MountMotion {
  const table = turnBy([0, 0, 0, 1], [0, side === 'right' ? 0.3 : -0.3, 0]);
  let last: Float64Array = Float64Array.of(0.25, 0.8, -0.2, ...table);
  const swing = (axis: Vector, first: number, sizeRad: number, s: number): Float64Array => {
    const angle = s < REACTS_S ? 0 : first * sizeRad * Math.sin(2 * Math.PI * 0.8 * (s - REACTS_S));
    const turn = multiply(
      table,
      turnBy(
        [0, 0, 0, 1],
        axis.map((value) => value * angle),
      ),
    );
    return Float64Array.of(0.25, 0.8, -0.2, ...turn);
  };
  return {
    wristAt(move, s, touchOf) {
      if (move === 'nod') last = swing([1, 0, 0], -1, 0.6, s);
      else if (move === 'wave') last = swing([0, 1, 0], side === 'right' ? 1 : -1, 0.3, s);
      else if (s >= REACTS_S && move !== 'rest') {
        const finger = (FINGERS as readonly string[]).indexOf(move);
        const t = s - REACTS_S;
        const by: Vector = [
          0.5 * Math.sin(3 * t + finger),
          0.3 * Math.sin(3.7 * t),
          0.45 * Math.sin(2.6 * t + 1),
        ];
        const turn: Quaternion = turnBy(turnBy(table, [-0.5, 0, 0]), by);
        const held = rotate(turn, touchOf(finger));
        last = Float64Array.of(POINT[0] - held[0], POINT[1] - held[1], POINT[2] - held[2], ...turn);
      }
      return last;
    },
  };
}
