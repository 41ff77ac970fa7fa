import {
  CircleGeometry,
  Color,
  DoubleSide,
  Group,
  Mesh,
  MeshBasicMaterial,
  Quaternion,
  RingGeometry,
  Vector3,
} from 'three';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, POSE_STRIDE } from '../../hand/joints.js';
import type { FingerCondition } from '../finger-state.js';
import type { LiveHand } from '../live.js';
import { colourOf, themeChanged } from '../theme.js';

/**
 * What is drawn on the fingers beside their colour: a bar across the pad of a held finger, a ring around the
 * tip of a guessed one, a disc where a finger touches.
 */
export interface Marks {
  readonly group: Group;
  update(hand: LiveHand, conditions: readonly FingerCondition[]): void;
}

/** A contact is drawn when the finger is nearer than this, m: where it will be is not where it is. */
const NEAR_M = 0.001;
const LIFT_M = 0.0008;

const discShape = new CircleGeometry(0.006, 24);
const ringShape = new RingGeometry(1.25, 1.5, 28, 1);
const barShape = new RingGeometry(1.2, 1.75, 28, 1, Math.PI * 1.1, Math.PI * 0.8);
const material = () => new MeshBasicMaterial({ side: DoubleSide });
const discMaterial = material();
const ringMaterial = material();
const barMaterial = material();

const paint = () => {
  discMaterial.color = new Color(colourOf('--contact'));
  ringMaterial.color = new Color(colourOf('--inferred-ink'));
  barMaterial.color = new Color(colourOf('--stopped-ink'));
};
themeChanged.on(paint);

const forwards = new Vector3(0, 0, 1);
const normal = new Vector3();
const turn = new Quaternion();

export function createMarks(): Marks {
  paint();
  const group = new Group();
  const row = (shape: CircleGeometry | RingGeometry, look: MeshBasicMaterial): Mesh[] =>
    FINGERS.map(() => {
      const mesh = new Mesh(shape, look);
      mesh.visible = false;
      group.add(mesh);
      return mesh;
    });
  const discs = row(discShape, discMaterial);
  const rings = row(ringShape, ringMaterial);
  const bars = row(barShape, barMaterial);
  for (const disc of discs) disc.renderOrder = 1;

  return {
    group,
    update({ joints, resistance, info }, conditions) {
      for (let finger = 0; finger < FINGERS.length; finger++) {
        const contact =
          joints?.valid && resistance?.armed ? resistance?.fingers[FINGERS[finger]]?.contact : undefined;
        const disc = discs[finger];
        disc.visible = contact !== undefined && contact.depthM > -NEAR_M;
        if (contact && disc.visible) {
          normal.set(contact.normal[0], contact.normal[1], contact.normal[2]);
          disc.position.set(contact.point[0], contact.point[1], contact.point[2]);
          // On the skin, which a string lets somewhat into the object: seen from there, hidden by the finger elsewhere.
          disc.position.addScaledVector(normal, -Math.max(0, contact.depthM) - LIFT_M);
          disc.quaternion.setFromUnitVectors(forwards, normal);
        }
        const condition = conditions[finger];
        rings[finger].visible = condition === 'inferred';
        bars[finger].visible = condition === 'held';
        if (!joints || (condition !== 'inferred' && condition !== 'held')) continue;
        const joint = FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1;
        const at = joint * POSE_STRIDE;
        const { poses } = joints;
        const mark = condition === 'held' ? bars[finger] : rings[finger];
        turn.set(poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]);
        mark.position.set(poses[at], poses[at + 1], poses[at + 2]);
        mark.quaternion.copy(turn);
        mark.scale.setScalar(info.skeleton.radiiM[joint]);
      }
    },
  };
}
