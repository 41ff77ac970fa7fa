/**
 * The adapters against what reads them:
 * - three.js r187: `XRHandModelFactory` with its `XRHandPrimitiveModel`, and `WebXRController`, the class that reads
 *   a WebXR session's hands for them (from its sources; not exported);
 * - the W3C's WebXR Hand Input Module, level 1: 25 joints, their names and order; `fillPoses` and
 *   `fillJointRadii` (from memory).
 */
import { Group, type InstancedMesh, Matrix4, Quaternion, Scene, Vector3 } from 'three';
import { XRHandModelFactory } from 'three/examples/jsm/webxr/XRHandModelFactory.js';
import { WebXRController } from 'three/src/renderers/webxr/WebXRController.js';
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import {
  attachHand,
  type Client,
  connect,
  createXRHand,
  type HandPose,
  wearGloves,
} from '../../src/client/index.js';
import type { XRSourceLike } from '../../src/client/webxr.js';
import { nowUs } from '../../src/clock.js';
import { serve } from '../stream/app.js';
import { FakeGlove } from '../stream/fake-glove.js';

let glove: FakeGlove;
let stream: Awaited<ReturnType<typeof serve>>;
let client: Client;
beforeEach(async () => {
  glove = new FakeGlove('right');
  stream = await serve([glove]);
  client = connect({ url: stream.address, velocities: false });
  await client.ready();
  // The subscription stands once the first pose has come.
  await vi.waitUntil(() => client.pose('right') ?? glove.sample(nowUs()), { timeout: 5000, interval: 5 });
});
afterEach(async () => {
  client.close();
  await stream.close();
});

/** One more sample, at the client. */
async function sample(): Promise<HandPose> {
  const timeUs = Math.ceil(nowUs());
  const come = new Promise<void>((resolve) => {
    const off = client.on('joints', (pose) => {
      if (pose.timeUs !== timeUs) return;
      off();
      resolve();
    });
  });
  glove.sample(timeUs);
  await come;
  const pose = client.pose('right')!;
  // The test glove's quaternions are of no length in particular; a renderer's must be of length 1.
  for (let at = 0; at < pose.poses.length; at += 8) {
    const q = new Quaternion(
      ...(pose.poses.subarray(at + 3, at + 7) as unknown as [number, number, number, number]),
    );
    pose.poses.set(q.normalize().toArray(), at + 3);
    pose.poses[at + 7] = Math.abs(pose.poses[at + 7]);
  }
  return pose;
}

const NAMES = [
  'wrist',
  ...['metacarpal', 'phalanx-proximal', 'phalanx-distal', 'tip'].map((part) => `thumb-${part}`),
  ...['index', 'middle', 'ring', 'pinky'].flatMap((finger) =>
    ['metacarpal', 'phalanx-proximal', 'phalanx-intermediate', 'phalanx-distal', 'tip'].map(
      (part) => `${finger}-finger-${part}`,
    ),
  ),
];

it('an XRHand has the 25 joints of the standard in its order', () => {
  expect([...createXRHand('left').keys()]).toEqual(NAMES);
  for (const [name, space] of createXRHand('left')) expect(space.jointName).toBe(name);
});

describe('three.js hand models', () => {
  /** The usual example, without its renderer. */
  function scene() {
    const scene = new Scene();
    const hand = Object.assign(new Group(), { joints: {}, inputState: { pinching: false } });
    hand.matrixAutoUpdate = false;
    hand.visible = false;
    const model = new XRHandModelFactory().createHandModel(hand as never);
    hand.add(model);
    scene.add(hand);
    return { scene, hand, model };
  }

  it('move with the glove', async () => {
    const { scene: root, hand, model } = scene();
    const events: string[] = [];
    for (const type of ['connected', 'disconnected'] as const) {
      hand.addEventListener(type as never, () => void events.push(type));
    }
    expect(hand.visible).toBe(false);
    attachHand(client, 'right', hand as never);
    const before = await sample();
    for (const pose of [before, await sample()]) {
      root.updateMatrixWorld();
      expect(hand.visible).toBe(true);
      const mesh = model.children[0] as InstancedMesh;
      expect(mesh.count).toBe(25);
      for (const [i, name] of NAMES.entries()) {
        const matrix = new Matrix4();
        mesh.getMatrixAt(i, matrix);
        const position = new Vector3().setFromMatrixPosition(matrix);
        const truth = new Vector3(...client.pose('right')!.position(name as never));
        expect(position.distanceTo(truth)).toBeLessThan(1e-6);
        expect(matrix.getMaxScaleOnAxis()).toBeCloseTo(client.pose('right')!.radius(name as never), 5);
      }
      expect(pose.valid).toBe(true);
    }
    glove.silence(nowUs(), 'unplugged');
    await vi.waitUntil(() => !client.pose('right')!.valid, { timeout: 5000 });
    root.updateMatrixWorld();
    expect(hand.visible).toBe(false);
    expect(events).toEqual(['connected', 'disconnected']);
  });

  it('are where the app puts the group, although three.js does not look at its position', async () => {
    const { scene: root, hand } = scene();
    const at = () => new Vector3().setFromMatrixPosition(hand.matrixWorld).toArray();
    hand.position.set(0.1, 1.2, -0.3);
    const detach = attachHand(client, 'right', hand as never);
    await sample();
    root.updateMatrixWorld();
    expect(at()).toEqual([0.1, 1.2, -0.3]);
    hand.position.x = 0.4;
    hand.rotation.y = Math.PI / 2;
    root.updateMatrixWorld();
    expect(at()).toEqual([0.4, 1.2, -0.3]);
    expect(new Vector3(0, 0, 1).transformDirection(hand.matrixWorld).x).toBeCloseTo(1, 9);
    // Whoever sets the matrix itself is left alone.
    hand.matrix.setPosition(9, 9, 9);
    hand.matrixWorldNeedsUpdate = true;
    root.updateMatrixWorld();
    expect(at()).toEqual([9, 9, 9]);
    detach();
  });

  it('follow what carries the wrist, and let go on request', async () => {
    const { scene: root, hand } = scene();
    const grip = new Group();
    grip.position.set(1, 2, 3);
    root.add(grip);
    root.updateMatrixWorld();
    const detach = attachHand(client, 'right', hand as never, { follow: grip as never });
    await sample();
    root.updateMatrixWorld();
    expect(new Vector3().setFromMatrixPosition(hand.matrixWorld).toArray()).toEqual([1, 2, 3]);
    detach();
    expect(hand.visible).toBe(false);
    expect(Object.hasOwn(hand, 'updateMatrixWorld')).toBe(false);
  });
});

describe('a WebXR session', () => {
  /** As much of a browser's session as matters: one controller on the right, tracked at this grip. */
  class Source implements XRSourceLike {
    readonly handedness = 'right';
    readonly gripSpace = { grip: true };
    readonly targetRaySpace = { ray: true };
    get hand() {
      return undefined;
    }
  }
  const gripTurn = new Quaternion().setFromAxisAngle(new Vector3(0, 1, 0), 0.7);
  class Session extends EventTarget {
    inputSources: Source[] = [];
    visibilityState = 'visible';
    #callbacks: ((time: number, frame: never) => void)[] = [];
    requestAnimationFrame(callback: (time: number, frame: never) => void) {
      return this.#callbacks.push(callback);
    }
    frame() {
      const frame = {
        session: this,
        getPose: () => ({
          transform: {
            position: { x: 0.1, y: 1.2, z: -0.3 },
            orientation: { x: gripTurn.x, y: gripTurn.y, z: gripTurn.z, w: gripTurn.w },
            matrix: new Matrix4().toArray(),
          },
        }),
        getJointPose: () => null,
        fillPoses: () => false,
        fillJointRadii: () => false,
      };
      for (const callback of this.#callbacks.splice(0)) callback(performance.now(), frame as never);
    }
  }

  it("is read by three.js' own class as it reads a browser's", async () => {
    const session = new Session();
    const undress = wearGloves(session, client);
    const source = new Source();
    session.inputSources.push(source);
    session.dispatchEvent(Object.assign(new Event('inputsourceschange'), { added: [source], removed: [] }));
    const pose = await sample();
    expect((source.hand as unknown as ReadonlyMap<string, unknown>).size).toBe(25);

    const controller = new WebXRController();
    const hand = controller.getHandSpace() as Group & {
      joints: Record<string, Group & { jointRadius: number }>;
    };
    controller.connect(source as never);
    let drawn = false;
    session.requestAnimationFrame((_time, frame) => {
      drawn = true;
      controller.update(source as never, frame, { reference: true } as never);
    });
    session.frame();
    expect(drawn).toBe(true);
    expect(hand.visible).toBe(true);
    for (const name of NAMES) {
      const joint = hand.joints[name];
      // three.js itself does the sum for comparison.
      const truth = new Vector3(...pose.position(name as never))
        .applyQuaternion(gripTurn)
        .add(new Vector3(0.1, 1.2, -0.3));
      expect(joint.visible).toBe(true);
      expect(joint.position.distanceTo(truth)).toBeLessThan(1e-5);
      const turn = gripTurn.clone().multiply(new Quaternion(...pose.orientation(name as never)));
      expect(joint.quaternion.angleTo(turn)).toBeLessThan(1e-3);
      expect(joint.jointRadius).toBeCloseTo(pose.radius(name as never), 6);
    }
    undress();
    expect(source.hand).toBeUndefined();
  });

  it('fills poses and radii, also relative to another joint', async () => {
    const session = new Session();
    wearGloves(session, client);
    const source = new Source();
    session.inputSources.push(source);
    session.dispatchEvent(Object.assign(new Event('inputsourceschange'), { added: [source] }));
    const pose = await sample();
    const hand = source.hand as unknown as ReturnType<typeof createXRHand>;
    let checked = 0;
    session.requestAnimationFrame((_time, raw) => {
      const frame = raw as unknown as {
        fillPoses(spaces: Iterable<unknown>, base: unknown, out: Float32Array): boolean;
        fillJointRadii(spaces: Iterable<unknown>, out: Float32Array): boolean;
        getPose(space: unknown, base: unknown): { transform: { inverse: { matrix: Float32Array } } };
      };
      const wrist = hand.get('wrist')!;
      const matrices = new Float32Array(25 * 16);
      expect(frame.fillPoses(hand.values(), wrist, matrices)).toBe(true);
      const world = (name: string) =>
        new Matrix4().compose(
          new Vector3(...pose.position(name as never)),
          new Quaternion(...pose.orientation(name as never)),
          new Vector3(1, 1, 1),
        );
      const fromWrist = world('wrist').invert();
      for (const [i, name] of NAMES.entries()) {
        const truth = fromWrist.clone().multiply(world(name)).toArray();
        for (let k = 0; k < 16; k++) expect(matrices[i * 16 + k]).toBeCloseTo(truth[k], 4);
      }
      const back = frame.getPose(hand.get('thumb-tip'), wrist).transform.inverse.matrix;
      const truth = fromWrist.clone().multiply(world('thumb-tip')).invert().toArray();
      for (let k = 0; k < 16; k++) expect(back[k]).toBeCloseTo(truth[k], 4);
      const radii = new Float32Array(25);
      expect(frame.fillJointRadii(hand.values(), radii)).toBe(true);
      for (const [i, name] of NAMES.entries()) expect(radii[i]).toBeCloseTo(pose.radius(name as never), 6);
      expect(() => frame.fillJointRadii(hand.values(), new Float32Array(3))).toThrow(TypeError);
      checked++;
    });
    session.frame();
    expect(checked).toBe(1);
  });
});
