import {
  DirectionalLight,
  HemisphereLight,
  type Object3D,
  PerspectiveCamera,
  Scene,
  SRGBColorSpace,
  WebGLRenderer,
} from 'three';
import { createFlatPen, type FlatPen } from './flat-pen.js';
import { createOrbit, type Orbit, type View } from './orbit.js';

/** What must be in the picture around the hands, m. */
const HEIGHT_M = 0.26;
const WIDTH_ONE_M = 0.22;
const WIDTH_TWO_M = 0.52;
/** Middle of a hand that stands on its wrist. */
export const TARGET_Y = 0.075;
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
  /** The next frame of the display is drawn in any case. */
  readonly isAsked: boolean;
  /** Called before each drawn frame. */
  before: (() => void) | undefined;
  /** Called once the camera has its place in a frame. */
  placed: (() => void) | undefined;
  /** The browser gives no WebGL: the scene is not rendered, but drawn by these, one after the other. */
  readonly flat: boolean;
  readonly drawings: ((pen: FlatPen) => void)[];
  /** Pixels of the display for each metre of a hand, at most; 0 until something is drawn. */
  readonly pxPerM: number;
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
  canvas.setAttribute('role', 'img');
  canvas.setAttribute('aria-label', 'The hand, live. Arrow keys turn it, plus and minus zoom.');
  parent.append(canvas);
  const renderer = createRenderer(canvas);
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
  const pen = renderer ? undefined : createFlatPen(canvas, camera);
  if (!renderer) parent.append(flatNote(pen !== undefined));
  const drawings: Stage['drawings'] = [];

  let asked = 0;
  let workMs = 0;
  let frames = 0;
  let pxPerM = 0;
  const draw = () => {
    asked = 0;
    if (canvas.clientWidth === 0 || renderer?.getContext().isContextLost()) return;
    const start = performance.now();
    stage.before?.();
    const reach = { width: stage.hands > 1 ? WIDTH_TWO_M : WIDTH_ONE_M, height: HEIGHT_M };
    stage.orbit.place(camera, reach, TARGET_Y);
    if (renderer) renderer.render(scene, camera);
    else if (pen) {
      scene.updateMatrixWorld();
      pen.begin();
      for (const drawing of drawings) drawing(pen);
    }
    stage.placed?.();
    const nearestM = Math.max(camera.near, camera.position.length() - HEIGHT_M / 2);
    pxPerM = canvas.height / 2 / Math.tan((camera.fov * Math.PI) / 360) / nearestM;
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
    placed: undefined,
    flat: !renderer,
    drawings,
    view: (view) => stage.orbit.view(view),
    refresh() {
      if (asked === 0) asked = requestAnimationFrame(draw);
    },
    get isAsked() {
      return asked !== 0;
    },
    get pxPerM() {
      return pxPerM;
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
    if (clientWidth === 0 || clientHeight === 0) return;
    renderer?.setSize(clientWidth, clientHeight, false);
    pen?.resize(clientWidth, clientHeight, Math.min(devicePixelRatio, MOST_PIXEL_RATIO));
    camera.aspect = clientWidth / clientHeight;
    camera.updateProjectionMatrix();
    stage.refresh();
  }).observe(parent);
  canvas.addEventListener('webglcontextrestored', () => stage.refresh());
  return stage;
}

function flatNote(drawn: boolean): HTMLElement {
  const note = document.createElement('p');
  note.className = 'flat-note';
  note.textContent = drawn
    ? 'Drawn flat: this browser gives no WebGL.'
    : 'No picture: this browser gives neither WebGL nor a canvas. All else works without it.';
  return note;
}

/** Undefined where the browser has no WebGL: asked here, for the renderer would complain on the console. */
function createRenderer(canvas: HTMLCanvasElement): WebGLRenderer | undefined {
  try {
    const context = canvas.getContext('webgl2', { antialias: true, alpha: true });
    if (!context) return undefined;
    const renderer = new WebGLRenderer({ canvas, context, antialias: true, alpha: true });
    renderer.outputColorSpace = SRGBColorSpace;
    renderer.setPixelRatio(Math.min(devicePixelRatio, MOST_PIXEL_RATIO));
    return renderer;
  } catch {
    return undefined;
  }
}
