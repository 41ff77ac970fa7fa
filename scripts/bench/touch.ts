import { createTouchContacts, Touches, type TouchRequest } from '../../src/contact/touches.js';
import {
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  forwardKinematics,
  setCurl,
  setHandSplay,
} from '../../src/hand/index.js';
import { type Figures, timeInTurns } from './figure.js';

/** Points evenly over a sphere (golden spiral), as the hull of a ball. */
function ballHull(count: number, radius: number): TouchRequest['shape'] {
  const points = Array.from({ length: count }, (_, i): [number, number, number] => {
    const y = 1 - (2 * (i + 0.5)) / count;
    const angle = i * Math.PI * (3 - Math.sqrt(5));
    const around = Math.sqrt(1 - y * y);
    return [radius * around * Math.cos(angle), radius * y, radius * around * Math.sin(angle)];
  });
  return { kind: 'hull', points };
}

/** By the name of their figure. */
const SHAPES: Record<string, TouchRequest['shape']> = {
  touchSphere: { kind: 'sphere', radius: 0.035 },
  touchBox: { kind: 'box', size: [0.08, 0.06, 0.06] },
  touchCapsule: { kind: 'capsule', radius: 0.025, length: 0.1 },
  touchCylinder: { kind: 'cylinder', radius: 0.03, length: 0.12 },
  touchHull64: ballHull(64, 0.035),
  touchHull256: ballHull(256, 0.035),
};

/**
 * Touch solver, 5 fingers and 1 shape, while the hand closes and opens; forward kinematics included. The reference
 * is the same frame with nothing to touch.
 */
export async function measureTouch(): Promise<Figures> {
  const skeleton = createSkeleton({ side: 'right' });
  const profile = createClosingProfile();
  const names = Object.keys(SHAPES);
  const frameWith = (shape?: TouchRequest['shape']) => {
    const touches = new Touches(skeleton, profile);
    if (shape) {
      const request: TouchRequest = { type: 'touch', hand: 'right', shape, position: [0, -0.055, -0.1] };
      touches.set('bench', undefined, request, 0);
    }
    const dofs = new Float64Array(DOF_COUNT);
    const poses = createPoses();
    const contacts = createTouchContacts();
    let frame = 0;
    return () => {
      const curl = 0.3 + 0.2 * Math.sin(frame++ / 50);
      for (let finger = 0; finger < 5; finger++) setCurl(profile, finger, curl, dofs);
      setHandSplay(dofs, 0.3);
      forwardKinematics(skeleton, dofs, poses);
      touches.solve(0, dofs, poses, 'wrist', contacts);
    };
  };
  const frames = [frameWith(), ...names.map((name) => frameWith(SHAPES[name]))];
  const { ns, ratiosToFirst } = timeInTurns(frames, { rounds: 15, calls: 1000 });
  return Object.fromEntries(
    names.map((name, i) => [
      name,
      {
        value: ns[i + 1] / 1000,
        unit: 'us',
        bar: 50,
        better: 'lower',
        reference: `5 fingers x 1 shape, CPU time; ${ratiosToFirst[i + 1].toFixed(1)} x the frame that touches nothing, ${(ns[0] / 1000).toFixed(1)} us`,
      },
    ]),
  );
}
