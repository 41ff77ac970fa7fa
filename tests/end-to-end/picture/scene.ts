import { Color, Group, Vector3 } from 'three';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, type HandSide, POSE_STRIDE } from '../../../src/hand/joints.js';
import type { HandInfo } from '../../../src/page/live.js';
import { drawFlatHand } from '../../../src/page/scene/flat-hand.js';
import { createHandMesh } from '../../../src/page/scene/hand-mesh.js';
import type { View } from '../../../src/page/scene/orbit.js';
import { createStage, standUp } from '../../../src/page/scene/stage.js';

/** How far a fingertip of the picture is from where its joint and radius are, px. */
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
  let colours: string[] = [];
  const inks = { outline: '#000080', ground: '#ffffff', nail: '#8080ff', bar: '#000000' };
  stage.drawings.push((pen) => {
    const looks = colours.map((colour) => ({ colour }));
    drawFlatHand(pen, poses, place.matrixWorld, looks, inks);
  });
  return {
    look(names: readonly string[]) {
      colours = [...names];
    },
  };
}

/** The same as a mesh. */
function meshHand({ side, skeleton, poses }: TipScene, place: Group) {
  const hand = createHandMesh(side, { skeleton } as HandInfo);
  place.add(...hand.meshes);
  hand.pose(poses);
  return {
    look: (names: readonly string[]) =>
      hand.look(names.map((name) => ({ colour: new Color(name), opacity: 1 }))),
  };
}

/** Draws a hand as the page does, one finger red and all else blue, and looks where the red ends. */
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
  const [red, blue] = ['#ff0000', '#0000ff'];
  const errors: TipError[] = [];
  for (let finger = 0; finger < FINGERS.length; finger++) {
    hand.look(Array.from({ length: FINGERS.length + 1 }, (_, of) => (of === finger ? red : blue)));
    const pixels = await drawn(stage);
    const project = (at: Vector3): [number, number] => {
      const { x, y } = at.clone().applyMatrix4(place.matrixWorld).project(stage.camera);
      return [((x + 1) / 2) * pixels.width, ((1 - y) / 2) * pixels.height];
    };
    const joint = FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1;
    const at = new Vector3().fromArray(poses, joint * POSE_STRIDE);
    const before = new Vector3().fromArray(poses, (joint - 1) * POSE_STRIDE);
    const radiusM = poses[joint * POSE_STRIDE + 7];
    const [x, y] = project(at);
    const [fromX, fromY] = project(before);
    const length = Math.hypot(x - fromX, y - fromY);
    const [alongX, alongY] = [(x - fromX) / length, (y - fromY) / length];
    // A ball of that radius around the joint reaches as far to every side of the picture.
    const acrossView = new Vector3(1, 0, 0).transformDirection(stage.camera.matrixWorld);
    acrossView.transformDirection(place.matrixWorld.clone().invert());
    const [sideX, sideY] = project(at.clone().addScaledVector(acrossView, radiusM));
    const radiusPx = Math.hypot(sideX - x, sideY - y);
    let reach = Number.NEGATIVE_INFINITY;
    for (let row = 0; row < pixels.height; row++) {
      for (let column = 0; column < pixels.width; column++) {
        const i = (row * pixels.width + column) * 4;
        const [r, , b, a] = pixels.data.subarray(i, i + 4);
        if (a < 128 || r < 1.2 * b) continue;
        const [dx, dy] = [column + 0.5 - x, row + 0.5 - y];
        if (Math.abs(dx * alongY - dy * alongX) > NEAR_AXIS * radiusPx) continue;
        reach = Math.max(reach, dx * alongX + dy * alongY + 0.5);
      }
    }
    errors.push({ finger: FINGERS[finger], errorPx: reach - radiusPx, radiusPx });
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
