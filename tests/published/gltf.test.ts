import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { WebIO } from '@gltf-transform/core';
import { build } from 'esbuild';
import { validateBytes } from 'gltf-validator';
import type { Browser } from 'playwright-core';
import { AnimationMixer, type Object3D, Quaternion, SkinnedMesh, Vector3 } from 'three';
import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { recordSimulated } from '../../scripts/simulated-session.js';
import { FINGER_BASE, FINGER_JOINTS, FINGERS, JOINT_NAMES, POSE_STRIDE } from '../../src/hand/joints.js';
import { exportGlb } from '../../src/recording/export-glb.js';
import { visitFrames } from '../../src/recording/export-text.js';
import { openSession, type Session } from '../../src/recording/session.js';
import { openBrowser } from '../end-to-end/browser.js';

/**
 * Exported animations against the outside: the Khronos group's own validator (npm gltf-validator), glTF Transform (npm
 * @gltf-transform/core) and three.js as readers of the numbers, and three.js in a real browser as a viewer.
 */
const folder = mkdtempSync(join(tmpdir(), 'tautline-gltf-'));
let session: Session;
let glb: Uint8Array;
let rods: Uint8Array;
let browser: Browser | undefined;

beforeAll(async () => {
  const file = join(folder, 'hands.mcap');
  await recordSimulated({ file, seconds: 3, rateHz: 100, hands: ['left', 'right'] });
  session = openSession(file);
  glb = exportGlb(session, { fromS: 0, toS: 3 }, 'test');
  rods = exportGlb(session, { fromS: 0, toS: 3 }, 'test', 'rods');
}, 60_000);
afterAll(async () => {
  await browser?.close();
  session.close();
  rmSync(folder, { recursive: true, force: true });
});

test('the Khronos validator finds nothing wrong', async () => {
  for (const bytes of [glb, rods]) {
    const { issues, info } = await validateBytes(bytes);
    expect(issues).toMatchObject({ numErrors: 0, numWarnings: 0, messages: [] });
    expect(info).toMatchObject({ version: '2.0', animationCount: 2, hasDefaultScene: true });
  }
});

test('a second reader finds a skinned mesh and a clip a hand, with the standard names as bones', async () => {
  const document = await new WebIO().readBinary(glb);
  const root = document.getRoot();
  const skins = root.listSkins();
  expect(skins.map((skin) => skin.getName())).toEqual(['left hand', 'right hand']);
  for (const skin of skins) {
    expect(skin.listJoints().map((joint) => joint.getName())).toEqual([...JOINT_NAMES]);
    expect(skin.getInverseBindMatrices()!.getCount()).toBe(JOINT_NAMES.length);
  }
  const clips = root.listAnimations();
  expect(clips.map((clip) => clip.getName())).toEqual(['left', 'right']);
  for (const [n, clip] of clips.entries()) {
    const moved = new Set(clip.listChannels().map((channel) => channel.getTargetNode()));
    expect(moved).toEqual(new Set(skins[n]!.listJoints()));
  }
  const carried = root.listNodes().filter((node) => node.getSkin());
  expect(carried.map((node) => node.getMesh()!.listPrimitives().length)).toEqual([2, 2]);
});

const load = async (bytes: Uint8Array) => {
  const buffer = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength) as ArrayBuffer;
  return new GLTFLoader().parseAsync(buffer, '');
};

test.each(['skin', 'rods'])('three.js plays the %s to the poses of the session', async (form) => {
  const gltf = await load(form === 'skin' ? glb : rods);
  expect(gltf.animations.map(({ name }) => name)).toEqual(['left', 'right']);
  const mixer = new AnimationMixer(gltf.scene);
  mixer.clipAction(gltf.animations[1]).play();
  // three.js takes no blanks in names, and numbers those of the second hand.
  const hand = gltf.scene.getObjectByName('right_hand')!;
  const nodes = JOINT_NAMES.map((name) => {
    let node: Object3D | undefined;
    hand.traverse((child) => {
      if (child.name.replace(/_\d+$/, '') === name) node ??= child;
    });
    expect(node, name).toBeDefined();
    return node as Object3D;
  });
  const wrist = nodes[JOINT_NAMES.indexOf('wrist')];
  const poses: { atS: number; poses: Float64Array }[] = [];
  visitFrames(session, (hand, frame, atS) => {
    if (hand === 'right' && frame.valid) poses.push({ atS, poses: frame.poses.slice() });
  });
  const place = new Vector3();
  const turn = new Quaternion();
  const origin = new Vector3();
  let farthest = 0;
  let widest = 0;
  for (let n = 10; n < poses.length - 10; n += 17) {
    mixer.setTime(poses[n].atS);
    gltf.scene.updateMatrixWorld(true);
    // The hands stand side by side: only that shift lies between the scene and the poses.
    wrist.parent!.getWorldPosition(origin);
    for (let joint = 0; joint < nodes.length; joint++) {
      const at = joint * POSE_STRIDE;
      const [x, y, z, qx, qy, qz, qw] = poses[n].poses.subarray(at, at + 7);
      nodes[joint].getWorldPosition(place).sub(origin);
      nodes[joint].getWorldQuaternion(turn);
      farthest = Math.max(farthest, place.distanceTo(new Vector3(x, y, z)));
      widest = Math.max(widest, turn.angleTo(new Quaternion(qx, qy, qz, qw)));
    }
  }
  // Between two keys, 20 ms apart here, three.js goes straight: what a closing finger curves in that time.
  expect(farthest).toBeLessThan(1e-3);
  expect(widest).toBeLessThan(0.02);
});

test('the skin goes with its bones: over each finger end it lies at the radius of the tip joint', async () => {
  const gltf = await load(glb);
  const mixer = new AnimationMixer(gltf.scene);
  mixer.clipAction(gltf.animations[1]).play();
  let mesh: SkinnedMesh | undefined;
  gltf.scene.traverse((node) => {
    if (node instanceof SkinnedMesh && /right/.test(node.name)) mesh ??= node;
  });
  const place = new Vector3();
  const tip = new Vector3();
  const before = new Vector3();
  for (const atS of [0.2, 1.1, 1.9, 2.7]) {
    mixer.setTime(atS);
    gltf.scene.updateMatrixWorld(true);
    mesh!.skeleton.update();
    const { position } = mesh!.geometry.attributes;
    for (let finger = 0; finger < FINGERS.length; finger++) {
      const joint = FINGER_BASE[finger] + FINGER_JOINTS[finger] - 1;
      mesh!.skeleton.bones[joint].getWorldPosition(tip);
      mesh!.skeleton.bones[joint - 1].getWorldPosition(before);
      const along = tip.clone().sub(before).normalize();
      let furthest = 0;
      for (let n = 0; n < position.count; n++) {
        mesh!.getVertexPosition(n, place).sub(tip);
        // Of this finger alone: what lies around its end.
        if (place.length() < 0.01) furthest = Math.max(furthest, place.dot(along));
      }
      expect(furthest, `${FINGERS[finger]} at ${atS}`).toBeGreaterThan(0.004);
      expect(furthest, `${FINGERS[finger]} at ${atS}`).toBeLessThan(0.0105);
    }
  }
});

test('three.js in a browser shows two hands', async () => {
  browser = await openBrowser();
  const viewer = await build({
    stdin: {
      contents: `
        import * as THREE from 'three';
        import { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';
        window.show = async (text, time) => {
          const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
          const gltf = await new GLTFLoader().parseAsync(bytes.buffer, '');
          const renderer = new THREE.WebGLRenderer({ antialias: true, preserveDrawingBuffer: true });
          renderer.setSize(800, 500);
          document.body.append(renderer.domElement);
          const scene = new THREE.Scene();
          scene.background = new THREE.Color(0xffffff);
          scene.add(gltf.scene, new THREE.HemisphereLight(0xffffff, 0x667788, 2.5));
          const sun = new THREE.DirectionalLight(0xffffff, 2);
          sun.position.set(-0.3, 1, 0.4);
          scene.add(sun);
          const camera = new THREE.PerspectiveCamera(35, 1.6, 0.01, 10);
          camera.position.set(0, 0.5, 0.25);
          camera.lookAt(0, 0, -0.09);
          const mixer = new THREE.AnimationMixer(gltf.scene);
          for (const clip of gltf.animations) mixer.clipAction(clip).play();
          mixer.setTime(time);
          renderer.render(scene, camera);
          const gl = renderer.getContext();
          const pixels = new Uint8Array(800 * 500 * 4);
          gl.readPixels(0, 0, 800, 500, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
          let left = 0, right = 0;
          for (let i = 0; i < pixels.length; i += 4) {
            if (pixels[i + 2] > pixels[i] + 15) left++;
            if (pixels[i] > pixels[i + 2] + 15) right++;
          }
          return { left, right };
        };`,
      resolveDir: process.cwd(),
    },
    bundle: true,
    write: false,
    format: 'iife',
  });
  const page = await browser.newPage({ viewport: { width: 800, height: 500 } });
  await page.setContent('<body style="margin:0"></body>');
  await page.addScriptTag({ content: viewer.outputFiles[0].text });
  const text = Buffer.from(glb).toString('base64');
  const seen = await page.evaluate(
    ([bytes, time]) =>
      (
        globalThis as unknown as { show(b: string, t: number): Promise<{ left: number; right: number }> }
      ).show(bytes as string, time as number),
    [text, 0.2] as const,
  );
  if (process.env.TAUTLINE_PICTURE) writeFileSync(process.env.TAUTLINE_PICTURE, await page.screenshot());
  // Each hand, in its colour, covers some of the picture's 400 000 points.
  expect(seen.left).toBeGreaterThan(8000);
  expect(seen.right).toBeGreaterThan(8000);
  expect(seen.left / seen.right).toBeGreaterThan(0.5);
  expect(seen.left / seen.right).toBeLessThan(2);
}, 120_000);
