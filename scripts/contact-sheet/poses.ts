import {
  createHandModel,
  createPoses,
  DOF_COUNT,
  FINGERS,
  forwardKinematics,
  type HandModel,
  naturalMotion,
  pinchPose,
  setCurl,
  setHandSplay,
} from '../../src/hand/index.js';

/** What a glove of five curls, and one splay, would measure in poses that everybody knows. */
export interface SheetPose {
  readonly name: string;
  /** Thumb first, 0 open to 1 closed. */
  readonly curls: readonly number[];
  /** Of all fingers: -1 together, 0 at rest, 1 spread wide. */
  readonly splay?: number;
}

const NAMED: readonly SheetPose[] = [
  { name: 'open', curls: [0, 0, 0, 0, 0] },
  { name: 'at ease', curls: [0.15, 0.12, 0.15, 0.18, 0.2] },
  { name: 'spread', curls: [0, 0, 0, 0, 0], splay: 1 },
  { name: 'flat', curls: [0.3, 0, 0, 0, 0], splay: -1 },
  { name: 'cup', curls: [0.35, 0.3, 0.3, 0.32, 0.35], splay: -1 },
  { name: 'around a bottle', curls: [0.5, 0.55, 0.57, 0.6, 0.62] },
  { name: 'half closed', curls: [0.5, 0.5, 0.5, 0.5, 0.5] },
  { name: 'fist', curls: [1, 1, 1, 1, 1] },
  { name: 'fist, thumb out', curls: [0.3, 1, 1, 1, 1] },
  { name: 'thumb up', curls: [0, 1, 1, 1, 1] },
  { name: 'point', curls: [0.8, 0, 1, 1, 1] },
  { name: 'point, thumb up', curls: [0, 0, 1, 1, 1] },
  { name: 'two fingers', curls: [0.9, 0, 0, 1, 1], splay: 0.8 },
  { name: 'little finger out', curls: [0.8, 1, 1, 1, 0] },
  { name: 'four', curls: [1, 0, 0, 0, 0] },
];

/** Twenty poses: those above, the pinches, and three fingertips together. */
export function sheetPoses({ skeleton, closing }: HandModel): SheetPose[] {
  const pinches = FINGERS.slice(1).map((name, i): SheetPose => {
    const pinch = pinchPose(skeleton, i + 1, closing);
    const curls = [pinch.thumbCurl, 0.12, 0.12, 0.12, 0.12];
    curls[i + 1] = pinch.fingerCurl;
    return { name: `pinch, ${name}`, curls };
  });
  return [...NAMED, ...pinches, { name: 'three tips', curls: [0.5, 0.42, 0.44, 0.2, 0.2] }];
}

/** All joints of a pose, by the way that a sample goes. */
export function posed({ skeleton, closing, natural }: HandModel, { curls, splay = 0 }: SheetPose): number[] {
  const dofs = new Float64Array(DOF_COUNT);
  for (let finger = 0; finger < FINGERS.length; finger++) setCurl(closing, finger, curls[finger], dofs);
  setHandSplay(dofs, splay);
  naturalMotion(natural, dofs, curls);
  const poses = createPoses();
  forwardKinematics(skeleton, dofs, poses);
  return [...poses];
}

export const sheetHand = (): HandModel => createHandModel({ side: 'right' });
