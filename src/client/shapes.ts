import type { Shape } from '../protocol/messages.js';

/** Shapes that are put together from convex parts. They hold no state; send one with `hold`. */

type Compound = Extract<Shape, { kind: 'compound' }>;
type Part = Compound['parts'][number];
type Point = readonly [number, number, number];

/** As many parts as a compound may have. */
const RING_PARTS = 16;

/**
 * A ring around the y axis of its pose, of sixteen capsules: its surface is within 1 % of `radius` of the true one.
 * @param radius from the axis to the middle of the tube, m
 * @param tubeRadius of the tube, m
 * @throws RangeError if either is not above 0
 */
export function ring(radius: number, tubeRadius: number): Compound {
  if (!(radius > 0 && tubeRadius > 0)) throw new RangeError('ring: both radii must be above 0 (metres)');
  const step = (2 * Math.PI) / RING_PARTS;
  // Corners lie as far outside of the circle as the middles of the sides lie inside.
  const corner = (2 * radius) / (1 + Math.cos(step / 2));
  const length = 2 * corner * Math.sin(step / 2);
  const parts = Array.from({ length: RING_PARTS }, (_, i): Part => {
    const angle = i * step;
    const middle = corner * Math.cos(step / 2);
    // From the capsule's y axis to the direction along the circle: a quarter turn about the spoke.
    const half = Math.SQRT1_2;
    return {
      shape: { kind: 'capsule', radius: tubeRadius, length },
      position: [middle * Math.cos(angle), 0, middle * Math.sin(angle)],
      orientation: [half * Math.cos(angle), 0, half * Math.sin(angle), half],
    };
  });
  return { kind: 'compound', parts };
}

/**
 * A triangle mesh that has been split into convex pieces, as a shape: the hull of the vertices of each piece. The
 * service takes 16 pieces, 256 vertices in each and 512 in all; a piece must enclose a volume.
 * @param pieces vertices of each piece, m
 */
export function convexParts(pieces: readonly (readonly Point[])[]): Compound {
  return {
    kind: 'compound',
    parts: pieces.map(
      (points): Part => ({
        shape: { kind: 'hull', points: points.map(([x, y, z]): [number, number, number] => [x, y, z]) },
      }),
    ),
  };
}
