import { AmbientLight, Color, DirectionalLight, OrthographicCamera, Scene, WebGLRenderer } from 'three';
import { FINGERS } from '../../src/hand/joints.js';
import type { HandInfo } from '../../src/page/live.js';
import { createHandMesh } from '../../src/page/scene/hand-mesh.js';

/** Draws poses of a hand, each from two sides, in the browser that loads it. */
export interface Sheet {
  readonly skeleton: HandInfo['skeleton'];
  readonly poses: readonly (readonly number[])[];
  readonly columns: number;
  /** Of one view, px. */
  readonly size: number;
  /** Height of a line of text below, px. */
  readonly line: number;
}

/** Half of what a view shows, m, and its middle. */
const HALF_M = 0.115;
const MIDDLE = [0, -0.02, -0.085] as const;
/** From the palm, and from the thumb's side. */
const FROM = [
  [0, -1, -0.15],
  [-1, -0.25, 0.1],
] as const;
const SKIN = '#d9b99b';
const THUMB = '#c08457';

function draw({ skeleton, poses, columns, size, line }: Sheet): void {
  const rows = Math.ceil(poses.length / columns);
  const width = columns * 2 * size;
  const height = rows * (size + line);
  const renderer = new WebGLRenderer({ antialias: true, preserveDrawingBuffer: true });
  renderer.setSize(width, height);
  renderer.setClearColor('#ffffff');
  renderer.setScissorTest(true);
  document.body.append(renderer.domElement);
  const scene = new Scene();
  scene.add(new AmbientLight('#ffffff', 1.4));
  const light = new DirectionalLight('#ffffff', 2.2);
  scene.add(light);
  const hand = createHandMesh('right', { skeleton } as HandInfo);
  const look = (colour: string) => ({ colour: new Color(colour), opacity: 1 });
  hand.look([...FINGERS.map((finger) => look(finger === 'thumb' ? THUMB : SKIN)), look(SKIN)]);
  scene.add(...hand.meshes);
  const camera = new OrthographicCamera(-HALF_M, HALF_M, HALF_M, -HALF_M, 0.01, 1);
  camera.up.set(0, 0, -1);
  poses.forEach((pose, i) => {
    hand.pose(pose);
    FROM.forEach(([x, y, z], view) => {
      const [mx, my, mz] = MIDDLE;
      camera.position.set(mx + x * 0.4, my + y * 0.4, mz + z * 0.4);
      camera.lookAt(mx, my, mz);
      light.position.set(x - 0.4, y - 0.3, z - 0.7);
      const left = ((i % columns) * 2 + view) * size;
      const top = Math.floor(i / columns) * (size + line);
      renderer.setViewport(left, height - top - size, size, size);
      renderer.setScissor(left, height - top - size, size, size);
      renderer.render(scene, camera);
    });
  });
}

Object.assign(globalThis, { draw });
