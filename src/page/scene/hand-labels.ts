import { type Object3D, type PerspectiveCamera, Vector3 } from 'three';
import type { HandSide } from '../../hand/joints.js';

/** The camera looks along the fingers, rather than across them. */
const ALONG = 0.8;
const ACROSS = 0.7;

/** From where a hand that stands upright, its back to z, is seen; empty from below. */
export function seenFrom({ x, y, z }: { x: number; y: number; z: number }): string {
  const length = Math.hypot(x, y, z);
  if (y > ALONG * length) return 'tips';
  const level = Math.hypot(x, z);
  if (z > ACROSS * level) return 'back';
  if (z < -ACROSS * level) return 'palm';
  return y < -ALONG * length ? '' : 'side';
}

/** Which hand it is, and from where it is seen: a fist alone does not tell. */
export function createHandLabels(parent: HTMLElement, camera: PerspectiveCamera, targetY: number) {
  const labels = new Map<HandSide, HTMLElement>();
  const at = new Vector3();
  return {
    /** After the camera was placed; hands that are not named lose their label. */
    update(hands: ReadonlyMap<HandSide, { place: Object3D }>): void {
      for (const [side, label] of labels) {
        if (hands.has(side)) continue;
        label.remove();
        labels.delete(side);
      }
      const { x, y, z } = camera.position;
      const from = seenFrom({ x, y: y - targetY, z });
      camera.updateMatrixWorld();
      for (const [side, { place }] of hands) {
        let label = labels.get(side);
        if (!label) {
          label = document.createElement('p');
          label.className = 'hand-label';
          labels.set(side, label);
          parent.append(label);
        }
        const name = side === 'left' ? 'Left hand' : 'Right hand';
        const text = from === '' ? name : `${name}, ${from}`;
        // Only what differs: an unchanged text must not cost a new layout.
        if (label.textContent !== text) label.textContent = text;
        at.setFromMatrixPosition(place.matrixWorld).project(camera);
        const left = `${(50 + 50 * Math.min(0.8, Math.max(-0.8, at.x))).toFixed(1)}%`;
        if (label.style.left !== left) label.style.left = left;
      }
    },
  };
}
