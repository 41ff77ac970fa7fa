import {
  DirectionalLight,
  HemisphereLight,
  type Object3D,
  PerspectiveCamera,
  Scene,
  SRGBColorSpace,
  WebGLRenderer,
} from 'three';
import { setAttribute } from '../dom.js';
import { createOrbit, type Orbit, type View } from './orbit.js';

/** What must be in the picture around the hands, m. */
const HEIGHT_M = 0.26;
const WIDTH_ONE_M = 0.22;
const WIDTH_TWO_M = 0.52;
/** Middle of a hand that stands on its wrist. */
const TARGET_Y = 0.075;
const MOST_PIXEL_RATIO = 2;

export interface Stage {
  readonly canvas: HTMLCanvasElement;
  readonly scene: Scene;
  readonly camera: PerspectiveCamera;
  readonly orbit: Orbit;
  /** How many hands must fit. */
  hands: number;
  view(view: View): void;
  /** Something changed: draw in the next frame of the display. */
  refresh(): void;
  /** Called before each drawn frame. */
  before: (() => void) | undefined;
  /** Duration of the newest frame's work in this thread, ms. */
  readonly workMs: number;
  readonly frames: number;
}

/** The local frame has the fingers along -Z and the back of the hand along +Y: stands it up, back to the viewer. */
export function standUp(place: Object3D): void {
  place.rotation.x = Math.PI / 2;
}

/** The picture: a scene that is drawn when something changed, and otherwise costs nothing. */
export function createStage(parent: HTMLElement): Stage {
  const canvas = document.createElement('canvas');
  canvas.tabIndex = 0;
  setAttribute(canvas, 'role', 'img');
  setAttribute(canvas, 'aria-label', 'The hand, live. Arrow keys turn it, plus and minus zoom.');
  parent.append(canvas);
  const renderer = createRenderer(canvas);
  if (!renderer) {
    canvas.hidden = true;
    const why = document.createElement('p');
    why.className = 'no-picture';
    why.textContent = 'No picture: this browser gives no WebGL. All else works without it.';
    parent.append(why);
  }
  const scene = new Scene();
  const camera = new PerspectiveCamera(30, 1, 0.01, 5);
  scene.add(new HemisphereLight(0xffffff, 0x8a7f70, 2.2));
  const sun = new DirectionalLight(0xffffff, 1.9);
  // With the camera, so that every view is lit alike.
  camera.add(sun as Object3D);
  sun.position.set(-0.6, 0.9, 0.4);
  camera.add(sun.target);
  sun.target.position.set(0, 0, -1);
  scene.add(camera);

  let asked = 0;
  let workMs = 0;
  let frames = 0;
  const draw = () => {
    asked = 0;
    if (!renderer || canvas.clientWidth === 0 || renderer.getContext().isContextLost()) return;
    const start = performance.now();
    stage.before?.();
    const reach = { width: stage.hands > 1 ? WIDTH_TWO_M : WIDTH_ONE_M, height: HEIGHT_M };
    stage.orbit.place(camera, reach, TARGET_Y);
    renderer.render(scene, camera);
    workMs = performance.now() - start;
    frames++;
  };
  const stage: Stage = {
    canvas,
    scene,
    camera,
    orbit: createOrbit(canvas, () => stage.refresh()),
    hands: 1,
    before: undefined,
    view: (view) => stage.orbit.view(view),
    refresh() {
      if (asked === 0) asked = requestAnimationFrame(draw);
    },
    get workMs() {
      return workMs;
    },
    get frames() {
      return frames;
    },
  };
  new ResizeObserver(() => {
    const { clientWidth, clientHeight } = parent;
    if (!renderer || clientWidth === 0 || clientHeight === 0) return;
    renderer.setSize(clientWidth, clientHeight, false);
    camera.aspect = clientWidth / clientHeight;
    camera.updateProjectionMatrix();
    stage.refresh();
  }).observe(parent);
  canvas.addEventListener('webglcontextrestored', () => stage.refresh());
  return stage;
}

/** Undefined where the browser has no WebGL: a page without a picture still disarms. */
function createRenderer(canvas: HTMLCanvasElement): WebGLRenderer | undefined {
  try {
    const renderer = new WebGLRenderer({ canvas, antialias: true, alpha: true });
    renderer.outputColorSpace = SRGBColorSpace;
    renderer.setPixelRatio(Math.min(devicePixelRatio, MOST_PIXEL_RATIO));
    return renderer;
  } catch {
    return undefined;
  }
}
