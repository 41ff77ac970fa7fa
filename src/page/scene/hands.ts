import { Color, Group, Matrix4, Quaternion, Vector3 } from 'three';
import { FINGERS, type HandSide, JOINT_COUNT, POSE_STRIDE, WRIST } from '../../hand/joints.js';
import { hasMoved } from '../../hand/moved.js';
import { type FingerCondition, fingerConditions } from '../finger-state.js';
import type { HandInfo, Live, LiveHand } from '../live.js';
import { colourOf, themeChanged } from '../theme.js';
import { drawFlatHand, type FlatLook } from './flat-hand.js';
import type { FlatPen } from './flat-pen.js';
import { createHandLabels } from './hand-labels.js';
import { createHandMesh, type FingerLook, type HandMesh } from './hand-mesh.js';
import { createMarks, type Marks } from './marks.js';
import { type Stage, standUp, TARGET_Y } from './stage.js';

/** A move of less is not seen, px of the display. */
const UNSEEN_PX = 0.5;
const APART_M = 0.11;
const GUESSED_OPACITY = 0.45;
const COLOUR_NAME: Record<FingerCondition, `--${string}`> = {
  tracked: '--tracked',
  inferred: '--inferred',
  invalid: '--inferred',
  held: '--stopped',
};

/** One hand in the scene. Its group carries the hand's local frame: wrist at the origin, fingers along -Z. */
export interface HandOnStage {
  readonly side: HandSide;
  readonly group: Group;
}

/** Keeps the scene's hands as the service tells of them. */
export function createHandsOnStage(live: Live, stage: Stage) {
  const shown = new Map<HandSide, Shown>();
  const labels = createHandLabels(stage.canvas.parentElement ?? document.body, stage.camera, TARGET_Y);
  stage.placed = () => labels.update(shown);

  const sync = () => {
    for (const [side, one] of shown) {
      if (live.hands.get(side)?.info.skeleton === one.info.skeleton) continue;
      stage.scene.remove(one.place);
      one.mesh?.dispose();
      shown.delete(side);
    }
    for (const [side, { info }] of live.hands) {
      if (!shown.has(side)) shown.set(side, show(side, info, stage));
    }
    stage.hands = shown.size;
    arrange();
    stage.refresh();
  };

  /** Side by side as the camera sees them, the left hand on the left. */
  const arrange = () => {
    const { azimuth } = stage.orbit;
    for (const [side, { place }] of shown) {
      const by = shown.size < 2 ? 0 : side === 'left' ? -APART_M : APART_M;
      place.position.set(Math.cos(azimuth) * by, 0, -Math.sin(azimuth) * by);
    }
  };

  stage.before = () => {
    for (const [side, one] of shown) {
      const hand = live.hands.get(side);
      if (hand) update(one, hand);
    }
  };
  stage.drawings.push((pen) => {
    for (const [side, one] of shown) {
      const hand = live.hands.get(side);
      if (hand) draw(pen, one, hand);
    }
  });
  live.changed.on(sync);
  const look = ({ hand: side }: { hand: HandSide }) => {
    // Poses come twice a frame: it is drawn of the newest.
    if (stage.isAsked) return;
    const one = shown.get(side);
    const hand = live.hands.get(side);
    if (one && hand && isSeenToDiffer(one, hand, UNSEEN_PX / stage.pxPerM)) stage.refresh();
  };
  live.client.on('joints', look);
  live.client.on('resistance', look);
  themeChanged.on(() => {
    for (const one of shown.values()) one.looks = '';
    stage.refresh();
  });
  sync();

  return {
    arrange,
    get(side: HandSide): HandOnStage | undefined {
      return shown.get(side);
    },
  };
}

interface Shown extends HandOnStage {
  info: HandInfo;
  place: Group;
  /** Undefined where the hand is drawn flat. */
  mesh: HandMesh | undefined;
  marks: Marks | undefined;
  /** The conditions that the mesh has the colours of. */
  looks: string;
  /** What is in the picture now: poses, conditions, and whether something is touched. */
  drawn: { poses: Float64Array; conditions: string; touches: boolean };
}

const touchesOf = ({ resistance }: LiveHand): boolean =>
  resistance?.armed === true && FINGERS.some((finger) => resistance.fingers[finger]?.contact !== undefined);

/** Whether what is known of a hand now would be seen to differ from what is drawn. */
function isSeenToDiffer({ drawn }: Shown, hand: LiveHand, leastM: number): boolean {
  // Contacts wander over the skin, and are told of only when they do.
  if (drawn.touches || touchesOf(hand)) return true;
  if (fingerConditions(hand).join() !== drawn.conditions) return true;
  return hand.joints !== undefined && hasMoved(drawn.poses, hand.joints.poses, leastM);
}

function show(side: HandSide, info: HandInfo, stage: Stage): Shown {
  const mesh = stage.flat ? undefined : createHandMesh(side, info);
  const group = new Group();
  group.matrixAutoUpdate = false;
  const marks = stage.flat ? undefined : createMarks();
  if (mesh && marks) group.add(...mesh.meshes, marks.group);
  const place = new Group();
  standUp(place);
  place.add(group);
  stage.scene.add(place);
  const drawn = {
    poses: new Float64Array(JOINT_COUNT * POSE_STRIDE).fill(Number.NaN),
    conditions: '',
    touches: false,
  };
  return { side, info, place, group, mesh, marks, looks: '', drawn };
}

const wristAt = new Vector3();
const wristTurn = new Quaternion();
const one = new Vector3(1, 1, 1);
const identity = new Matrix4();

function update(shown: Shown, hand: LiveHand): void {
  const { joints } = hand;
  const conditions = fingerConditions(hand);
  const looks = conditions.join();
  shown.drawn.conditions = looks;
  shown.drawn.touches = touchesOf(hand);
  if (joints) {
    shown.drawn.poses.set(joints.poses);
    shown.mesh?.pose(joints.poses);
    // A hand with a place in the world is shown around its wrist all the same.
    if (joints.space === 'world') {
      const at = WRIST * POSE_STRIDE;
      const { poses } = joints;
      wristAt.set(poses[at], poses[at + 1], poses[at + 2]);
      wristTurn.set(poses[at + 3], poses[at + 4], poses[at + 5], poses[at + 6]);
      shown.group.matrix.compose(wristAt, wristTurn, one).invert();
    } else shown.group.matrix.copy(identity);
    shown.group.matrixWorldNeedsUpdate = true;
  }
  if (!shown.mesh || !shown.marks) return;
  if (looks !== shown.looks) {
    shown.looks = looks;
    const all: FingerLook[] = conditions.map((condition) => ({
      colour: new Color(colourOf(COLOUR_NAME[condition])),
      opacity: condition === 'inferred' || condition === 'invalid' ? GUESSED_OPACITY : 1,
    }));
    const gone = conditions.every((condition) => condition === 'invalid');
    all[FINGERS.length] = { colour: new Color(colourOf('--skin')), opacity: gone ? GUESSED_OPACITY : 1 };
    shown.mesh.look(all);
  }
  shown.marks.update(hand, conditions);
}

/** The same hand, flat: colour, outline and bar say what mesh and marks do. */
function draw(pen: FlatPen, { info, group }: Shown, hand: LiveHand): void {
  const conditions = fingerConditions(hand);
  const looks: FlatLook[] = conditions.map((condition) => ({
    colour: colourOf(COLOUR_NAME[condition]),
    guessed: condition === 'inferred' || condition === 'invalid',
    held: condition === 'held',
  }));
  looks.push({
    colour: colourOf('--skin'),
    guessed: conditions.every((condition) => condition === 'invalid'),
  });
  const inks = {
    outline: colourOf('--ink'),
    ground: colourOf('--ground'),
    nail: colourOf('--nail'),
    bar: colourOf('--stopped-ink'),
  };
  const poses = hand.joints?.poses ?? restOf(info);
  drawFlatHand(pen, poses, group.matrixWorld, looks, inks);
}

/** Before the first pose. */
const restOf = ({ skeleton: { restPoses, radiiM } }: HandInfo): number[] =>
  restPoses.flatMap((seven, joint) => [...seven, radiiM[joint]]);
