import { createTouchContacts, Touches, type TouchRequest } from '../../src/contact/index.js';
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

const SHAPES: Record<string, TouchRequest['shape']> = {
  sphere: { kind: 'sphere', radius: 0.035 },
  box: { kind: 'box', size: [0.08, 0.06, 0.06] },
  capsule: { kind: 'capsule', radius: 0.025, length: 0.1 },
  cylinder: { kind: 'cylinder', radius: 0.03, length: 0.12 },
  hull64: ballHull(64, 0.035),
  hull256: ballHull(256, 0.035),
};

/** Touch solver, 5 fingers and 1 shape, while the hand closes and opens; forward kinematics included. */
export async function measureTouch(): Promise<Figures> {
  const skeleton = createSkeleton({ side: 'right' });
  const profile = createClosingProfile();
  const names = Object.keys(SHAPES);
  const frames = names.map((name) => {
    const request: TouchRequest = {
      type: 'touch',
      hand: 'right',
      shape: SHAPES[name],
      position: [0, -0.055, -0.1],
    };
    const touches = new Touches(skeleton, profile);
    touches.set('bench', undefined, request, 0);
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
  });
  const { ns } = timeInTurns(frames, { rounds: 15, calls: 1000 });
  return Object.fromEntries(
    names.map((name, i) => [
      `touch ${name}`,
      {
        value: ns[i] / 1000,
        unit: 'us',
        bar: 50,
        better: 'lower',
        reference: '5 fingers x 1 shape, CPU time',
      },
    ]),
  );
}
