import { Vector3 } from 'three';
import { ring } from '../../client/shapes.js';
import type { Shape } from '../../protocol/messages.js';
import type { HandInfo } from '../live.js';

export const SHAPES = ['ball', 'box', 'rod', 'pill', 'ring', 'wall'] as const;
export type ShapeName = (typeof SHAPES)[number];
export const SHAPE_LABEL: Record<ShapeName, string> = {
  ball: 'Ball',
  box: 'Box',
  rod: 'Rod',
  pill: 'Capsule',
  // Not to be taken for the finger.
  ring: 'Hoop',
  wall: 'Wall',
};

/** N/m at the surface; undefined: as hard as the glove can. */
export const STIFFNESS = {
  soft: { label: 'Soft', newtonPerMetre: 300 },
  medium: { label: 'Medium', newtonPerMetre: 1000 },
  firm: { label: 'Firm', newtonPerMetre: 3000 },
  hard: { label: 'Hard', newtonPerMetre: undefined },
} as const;
export type StiffnessName = keyof typeof STIFFNESS;

/** Rods and capsules lie across the palm: their y axis along the hand's x. */
const ACROSS: [number, number, number, number] = [0, 0, -Math.SQRT1_2, Math.SQRT1_2];
const UPRIGHT: [number, number, number, number] = [0, 0, 0, 1];
const ROD_LENGTH_M = 0.16;
/** Of the ring's tube: less than the smallest size. */
const RING_TUBE_M = 0.016;

/** @param sizeM diameter or edge */
export function shapeOf(name: ShapeName, sizeM: number): Shape {
  switch (name) {
    case 'ball':
      return { kind: 'sphere', radius: sizeM / 2 };
    case 'box':
      return { kind: 'box', size: [sizeM * 1.6, sizeM, sizeM] };
    case 'rod':
      return { kind: 'cylinder', radius: sizeM / 2, length: ROD_LENGTH_M };
    case 'pill':
      return { kind: 'capsule', radius: sizeM / 2, length: sizeM };
    case 'ring':
      return ring((sizeM - RING_TUBE_M) / 2, RING_TUBE_M / 2);
    case 'wall':
      return { kind: 'halfSpace' };
  }
}

export const orientationOf = (name: ShapeName): [number, number, number, number] =>
  name === 'rod' || name === 'pill' ? ACROSS : UPRIGHT;

/** Against the palm and the roots of the fingers, in the wrist's frame. */
export function inPalm({ skeleton }: HandInfo, name: ShapeName, sizeM: number): Vector3 {
  const [x, y, z] = skeleton.restPoses[0];
  const out = skeleton.radiiM[0] + (name === 'wall' ? sizeM : sizeM / 2);
  // Somewhat towards the fingers, which close over it.
  return new Vector3(x, y - out, z - 0.02);
}
