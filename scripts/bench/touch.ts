import { createTouchContacts, Touches, type TouchRequest } from '../../src/contact/touches.js';
import {
  createHandModel,
  createPoses,
  DOF_COUNT,
  forwardKinematics,
  guideThumb,
  setCurl,
  setHandSplay,
} from '../../src/hand/index.js';
import type { ConvexShape } from '../../src/protocol/messages.js';
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

/** A cup: a wall of eight boxes around an opening wide enough for a hand to close on. */
function cup(radius: number, heightM: number): TouchRequest['shape'] {
  const width = 2 * radius * Math.tan(Math.PI / 8);
  const parts = Array.from({ length: 8 }, (_, i) => {
    const turn = (i * Math.PI) / 4;
    return {
      shape: { kind: 'box' as const, size: [0.004, heightM, width] as [number, number, number] },
      position: [radius * Math.cos(turn), 0, -radius * Math.sin(turn)] as [number, number, number],
      orientation: [0, Math.sin(turn / 2), 0, Math.cos(turn / 2)] as [number, number, number, number],
    };
  });
  return { kind: 'compound', parts };
}

/** The same with hulls: as much as convex parts of a mesh cost. */
function ballOfHulls(count: number, points: number): TouchRequest['shape'] {
  const parts = Array.from({ length: count }, (_, i) => {
    const turn = (2 * i * Math.PI) / count;
    return {
      shape: ballHull(points, 0.015) as ConvexShape,
      position: [0.02 * Math.cos(turn), 0, 0.02 * Math.sin(turn)] as [number, number, number],
    };
  });
  return { kind: 'compound', parts };
}

/** Of the glove, for how fast its fingers go. */
const SAMPLES_PER_S = 250;

/** By the name of their figure. */
const SHAPES: Record<string, TouchRequest['shape']> = {
  touchSphere: { kind: 'sphere', radius: 0.035 },
  touchBox: { kind: 'box', size: [0.08, 0.06, 0.06] },
  touchCapsule: { kind: 'capsule', radius: 0.025, length: 0.1 },
  touchCylinder: { kind: 'cylinder', radius: 0.03, length: 0.12 },
  touchHull64: ballHull(64, 0.035),
  touchHull256: ballHull(256, 0.035),
  touchCup8: cup(0.035, 0.09),
  touchHulls8: ballOfHulls(8, 32),
};

/**
 * Touch solver, 5 fingers and 1 shape, while the hand closes and opens and its fingers lead the thumb; forward kinematics included. The reference
 * is the same frame with nothing to touch.
 */
export async function measureTouch(): Promise<Figures> {
  const { skeleton, closing, natural } = createHandModel({ side: 'right' });
  const names = Object.keys(SHAPES);
  const frameWith = (shape?: TouchRequest['shape']) => {
    const touches = new Touches(skeleton, closing, {}, natural);
    if (shape) {
      const request: TouchRequest = { type: 'touch', hand: 'right', shape, position: [0, -0.055, -0.1] };
      touches.set('bench', undefined, request, 0);
    }
    const dofs = new Float64Array(DOF_COUNT);
    const poses = createPoses();
    const contacts = createTouchContacts();
    const curls = new Float64Array(5);
    const rates = new Float64Array(5);
    let frame = 0;
    return () => {
      const phase = frame++ / 50;
      curls.fill(0.3 + 0.2 * Math.sin(phase));
      rates.fill((0.2 * SAMPLES_PER_S * Math.cos(phase)) / 50);
      for (let finger = 0; finger < 5; finger++) setCurl(closing, finger, curls[finger], dofs);
      guideThumb(natural, dofs, curls);
      setHandSplay(dofs, 0.3);
      forwardKinematics(skeleton, dofs, poses);
      touches.solve(0, dofs, poses, 'wrist', contacts, curls, rates);
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
        bar: SHAPES[name].kind === 'compound' ? 200 : 50,
        better: 'lower',
        reference: `5 fingers x 1 shape, CPU time; ${ratiosToFirst[i + 1].toFixed(1)} x the frame that touches nothing, ${(ns[0] / 1000).toFixed(1)} us`,
      },
    ]),
  );
}
