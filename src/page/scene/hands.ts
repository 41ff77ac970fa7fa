import { Color, Group, Matrix4, Quaternion, Vector3 } from 'three';
import { FINGERS, type HandSide, POSE_STRIDE, WRIST } from '../../hand/joints.js';
import { type FingerCondition, fingerConditions } from '../finger-state.js';
import type { HandInfo, Live, LiveHand } from '../live.js';
import { colourOf, themeChanged } from '../theme.js';
import { createHandMesh, type FingerLook, type HandMesh } from './hand-mesh.js';
import { createMarks, type Marks } from './marks.js';
import { type Stage, standUp } from './stage.js';

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

  const sync = () => {
    for (const [side, one] of shown) {
      if (live.hands.get(side)?.info.skeleton === one.info.skeleton) continue;
      stage.scene.remove(one.place);
      one.mesh.dispose();
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
  live.changed.on(sync);
  live.client.on('joints', () => stage.refresh());
  live.client.on('resistance', () => stage.refresh());
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
  mesh: HandMesh;
  marks: Marks;
  /** The conditions that the mesh has the colours of. */
  looks: string;
}

function show(side: HandSide, info: HandInfo, stage: Stage): Shown {
  const mesh = createHandMesh(side, info);
  const group = new Group();
  group.matrixAutoUpdate = false;
  const marks = createMarks();
  group.add(...mesh.meshes, marks.group);
  const place = new Group();
  standUp(place);
  place.add(group);
  stage.scene.add(place);
  return { side, info, place, group, mesh, marks, looks: '' };
}

const wristAt = new Vector3();
const wristTurn = new Quaternion();
const one = new Vector3(1, 1, 1);
const identity = new Matrix4();

function update(shown: Shown, hand: LiveHand): void {
  const { joints } = hand;
  if (joints) {
    shown.mesh.pose(joints.poses);
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
  const conditions = fingerConditions(hand);
  const looks = conditions.join();
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
