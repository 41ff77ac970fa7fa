import { BufferAttribute, type BufferGeometry, Color, Group, Vector3 } from 'three';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, type HandSide, POSE_STRIDE } from '../../../src/hand/joints.js';
import type { HandInfo } from '../../../src/page/live.js';
import { drawFlatHand } from '../../../src/page/scene/flat-hand.js';
import { createHandMesh } from '../../../src/page/scene/hand-mesh.js';
import type { View } from '../../../src/page/scene/orbit.js';
import { createStage, standUp } from '../../../src/page/scene/stage.js';

/** How far a fingertip of the picture reaches beyond where its joints and radii do, or falls short of it (negative), px. */
export interface TipError {
  finger: string;
  errorPx: number;
  /** Radius of the tip in the picture, to know the scale. */
  radiusPx: number;
}
export interface TipScene {
  side: HandSide;
  skeleton: HandInfo['skeleton'];
  poses: readonly number[];
  view: View;
}

/** Nearer than this to the finger's axis, in parts of the radius, a pixel is of its tip. */
const NEAR_AXIS = 0.35;
const [WIDTH, HEIGHT] = [900, 800];

/** A browser without WebGL draws the hand flat. */
function flatHand(stage: ReturnType<typeof createStage>, place: Group, poses: readonly number[]) {
  let only = 0;
  const none = '#00000000';
  const inks = { outline: none, ground: none, nail: none, bar: none };
  stage.drawings.push((pen) => {
    const looks = Array.from({ length: FINGERS.length + 1 }, (_, of) => ({
      colour: of === only ? '#000000' : none,
    }));
    drawFlatHand(pen, poses, place.matrixWorld, looks, inks);
  });
  return {
    /** The whole of a finger is drawn. */
    firstJoint: (finger: number) => FINGER_BASE[finger] + 1,
    drawOnly(finger: number) {
      only = finger;
    },
  };
}

/** The same as a mesh. */
function meshHand({ side, skeleton, poses }: TipScene, place: Group) {
  const hand = createHandMesh(side, { skeleton } as HandInfo);
  place.add(...hand.meshes);
  hand.pose(poses);
  hand.look(Array.from({ length: FINGERS.length + 1 }, () => ({ colour: new Color('black'), opacity: 1 })));
  const { geometry } = hand.meshes[0];
  const all = [...(geometry.getIndex()?.array ?? [])];
  return {
    firstJoint: (finger: number) => lastJoint(finger) - 1,
    /** Its last bone, with the nail: what of a bent finger is behind or before it says nothing of its tip. */
    drawOnly(finger: number) {
      const carried = (vertex: number) => weightOf(geometry, vertex, lastJoint(finger) - 1) >= 0.5;
      const kept: number[] = [];
      for (let i = 0; i < all.length; i += 3) {
        const corners = all.slice(i, i + 3);
        if (corners.every(carried)) kept.push(...corners);
      }
      geometry.setIndex(new BufferAttribute(Uint32Array.from(kept), 1));
    },
  };
}

const lastJoint = (finger: number): number => FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1;

/** How much of a point of the skin a joint carries. */
function weightOf({ attributes }: BufferGeometry, vertex: number, joint: number): number {
  let weight = 0;
  for (let slot = 0; slot < 4; slot++) {
    if (attributes.skinIndex.getComponent(vertex, slot) === joint)
      weight += attributes.skinWeight.getComponent(vertex, slot);
  }
  return weight;
}

/**
 * Draws a hand as the page does, but one finger alone, and looks how far that reaches, in the direction that its last bone
 * has in the picture. It must reach as far as the ball of the tip joint, and no further than that or the balls along the
 * bone behind it: of a finger that points to the viewer, these are the larger ones, and what is seen.
 */
async function tipErrors(scene: TipScene): Promise<TipError[]> {
  const { poses, view } = scene;
  document.body.replaceChildren();
  const parent = document.createElement('div');
  parent.style.cssText = `position:relative;width:${WIDTH}px;height:${HEIGHT}px`;
  document.body.append(parent);
  const stage = createStage(parent);
  stage.canvas.style.cssText = parent.style.cssText;
  const place = new Group();
  standUp(place);
  const hand = stage.flat ? flatHand(stage, place, poses) : meshHand(scene, place);
  stage.scene.add(place);
  stage.view(view);
  const errors: TipError[] = [];
  for (let finger = 0; finger < FINGERS.length; finger++) {
    hand.drawOnly(finger);
    const pixels = await drawn(stage);
    const project = (at: Vector3): [number, number] => {
      const { x, y } = at.clone().applyMatrix4(place.matrixWorld).project(stage.camera);
      return [((x + 1) / 2) * pixels.width, ((1 - y) / 2) * pixels.height];
    };
    const joint = lastJoint(finger);
    const placeOf = (of: number) => new Vector3().fromArray(poses, of * POSE_STRIDE);
    const [x, y] = project(placeOf(joint));
    const [fromX, fromY] = project(placeOf(joint - 1));
    const length = Math.hypot(x - fromX, y - fromY);
    const [alongX, alongY] = [(x - fromX) / length, (y - fromY) / length];
    // A ball of that radius around the joint reaches as far to every side of the picture.
    const acrossView = new Vector3(1, 0, 0).transformDirection(stage.camera.matrixWorld);
    acrossView.transformDirection(place.matrixWorld.clone().invert());
    let radiusPx = 0;
    const ball = (at: Vector3, radiusM: number) => {
      const [atX, atY] = project(at);
      const [sideX, sideY] = project(at.clone().addScaledVector(acrossView, radiusM));
      const px = Math.hypot(sideX - atX, sideY - atY);
      const [dx, dy] = [atX - x, atY - y];
      // Of the band around the axis, the point of the ball that reaches furthest.
      const off = Math.max(0, Math.abs(dx * alongY - dy * alongX) - NEAR_AXIS * radiusPx);
      const reach = off < px ? dx * alongX + dy * alongY + Math.sqrt(px * px - off * off) : -Infinity;
      return { px, reach };
    };
    radiusPx = ball(placeOf(joint), poses[joint * POSE_STRIDE + 7]).px;
    let most = radiusPx;
    for (let from = hand.firstJoint(finger); from < joint; from++) {
      for (let part = 0; part <= 1; part += 1 / 32) {
        const at = placeOf(from).lerp(placeOf(from + 1), part);
        const radiusM =
          (1 - part) * poses[from * POSE_STRIDE + 7] + part * poses[(from + 1) * POSE_STRIDE + 7];
        most = Math.max(most, ball(at, radiusM).reach);
      }
    }
    let reach = Number.NEGATIVE_INFINITY;
    for (let row = 0; row < pixels.height; row++) {
      for (let column = 0; column < pixels.width; column++) {
        if (pixels.data[(row * pixels.width + column) * 4 + 3] < 128) continue;
        const [dx, dy] = [column + 0.5 - x, row + 0.5 - y];
        if (Math.abs(dx * alongY - dy * alongX) > NEAR_AXIS * radiusPx) continue;
        reach = Math.max(reach, dx * alongX + dy * alongY + 0.5);
      }
    }
    const errorPx = Math.min(0, reach - radiusPx) + Math.max(0, reach - most);
    errors.push({ finger: FINGERS[finger], errorPx, radiusPx });
  }
  return errors;
}

/** The next frame, read before the browser takes it away. */
function drawn(stage: ReturnType<typeof createStage>): Promise<ImageData> {
  return new Promise((resolve) => {
    const look = () => {
      stage.refresh();
      requestAnimationFrame(() => {
        const { width, height } = stage.canvas;
        const copy = new OffscreenCanvas(width, height).getContext('2d');
        copy?.drawImage(stage.canvas, 0, 0);
        const pixels = copy?.getImageData(0, 0, width, height);
        // Not before the stage has its size.
        if (pixels && width === WIDTH && pixels.data.some((value) => value > 0)) resolve(pixels);
        else look();
      });
    };
    look();
  });
}

Object.assign(globalThis, { tipErrors });
