import { describe, expect, it } from 'vitest';
import { compose, invert, type RigidPose } from '../../src/client/rigid.js';
import type { HandSide } from '../../src/hand/joints.js';
import { INPUT_POSE_STRIDE, INPUT_POSES, updateInputPoses } from '../../src/sensing/input-poses.js';
import { type Answer, type Driver, XR } from './driver.js';
import { bentHand } from './peer.js';
import { at, attachGrip, endWell, gripInWrist, HANDS, input, jointOf, SIMPLE, useRig, VALID } from './rig.js';

const rig = useRig();
const EXTENSION = 'XR_EXT_hand_interaction';
const POSES = ['grip', 'aim', 'pinch_ext', 'poke_ext'];
const VALUES = ['pinch_ext', 'grasp_ext', 'aim_activate_ext'];

async function makeHandActions(app: Driver): Promise<void> {
  await app.do('set game 0');
  const pairs: string[] = [];
  const add = async (name: string, type: string, path: string) => {
    await app.do(`action game ${name} ${type} left right`);
    for (const side of ['left', 'right'] as const) pairs.push(`${name} ${input(side, path)}`);
  };
  for (const name of POSES) await add(name, 'pose', `${name}/pose`);
  for (const name of VALUES) {
    await add(`${name}-value`, 'float', `${name}/value`);
    await add(`${name}-ready`, 'bool', `${name}/ready_ext`);
    await add(`${name}-click`, 'bool', `${name}/value`);
  }
  await app.do(`suggest ${HANDS} ${pairs.join(' ')}`);
  for (const name of POSES) await app.do(`space ${name} ${name} right`);
}

const poseOf = (answer: Answer) => (answer.pose as number[]).slice(0, 7) as RigidPose;
const turned = (pose: RigidPose, x: number, y: number, z: number) => {
  const [px, py, pz] = compose([0, 0, 0, pose[3], pose[4], pose[5], pose[6]], [x, y, z, 0, 0, 0, 1]);
  return [px, py, pz];
};
const dot = (a: number[], b: number[]) => a.reduce((sum, x, i) => sum + x * b[i], 0);
const minus = (a: readonly number[], b: readonly number[]) => [0, 1, 2].map((i) => a[i] - b[i]);
const middle = (a: readonly number[], b: readonly number[]) => [0, 1, 2].map((i) => (a[i] + b[i]) / 2);
const unit = (a: number[]) => a.map((x) => x / Math.hypot(...a));

describe.each([
  ['that does not know it', 'time'],
  ['that knows it', 'time interaction'],
])('XR_EXT_hand_interaction over a runtime %s', (_kind, offers) => {
  it('has the values of the glove, each 0 until its gesture is ready', async () => {
    const app = rig.start({ offers });
    await app.open(EXTENSION);
    rig.peer.wear('right');
    await rig.peer.subscribed();
    await makeHandActions(app);
    await app.do('attach game', 'sync game');
    expect((await app.do('profile right')).profile).toBe(HANDS);
    for (const name of VALUES) {
      await rig.peer.inputs('right', { [`${name}/value`]: 0.7, [`${name}/ready_ext`]: false });
      await app.do('sync game');
      expect(await app.do(`get ${name}-value right`)).toMatchObject({ active: 1, value: 0 });
      expect(await app.do(`get ${name}-ready right`)).toMatchObject({ active: 1, value: 0 });
      await rig.peer.inputs('right', { [`${name}/ready_ext`]: true });
      await app.do('sync game');
      expect(await app.do(`get ${name}-value right`)).toMatchObject({
        active: 1,
        value: expect.closeTo(0.7),
      });
      expect(await app.do(`get ${name}-ready right`)).toMatchObject({ active: 1, value: 1, changed: 1 });
      expect(await app.do(`get ${name}-click right`)).toMatchObject({ active: 1, value: 1 });
      expect(await app.do(`get ${name}-value left`)).toMatchObject({ active: 0 });
    }
    await endWell(app);
  });

  // Chapter "Input and Haptics" and XR_EXT_hand_interaction of the specification, 1.1.
  it('has its four poses, where the specification puts them', async () => {
    const app = rig.start({ offers });
    const grip = at(0.1, 1.2, -0.2, 0.3, 0.1, -0.2, 0.9);
    await app.world(`controller right ${SIMPLE}`, `grip right ${grip.join(' ')}`);
    await app.open(EXTENSION);
    const { poses } = rig.peer.wear('right', { poses: bentHand('right', 0.6) });
    await rig.peer.subscribed();
    await makeHandActions(app);
    await app.do('attach game', 'sync game');
    for (const name of POSES) expect(await app.do(`get ${name} right`), name).toMatchObject({ active: 1 });
    const wrist = compose(grip, invert(gripInWrist('right', poses)));
    const joint = (index: number) => compose(wrist, jointOf(poses, index));
    const locate = async (name: string) => {
      const answer = await app.do(`locate ${name} local`);
      expect(Number(answer.flags) & VALID, name).toBe(VALID);
      return poseOf(answer);
    };
    const gripped = await locate('grip');
    for (let i = 0; i < 3; i++) expect(gripped[i]).toBeCloseTo(grip[i], 4);

    // As the service has them in its stream.
    const inStream = new Float64Array(INPUT_POSES.length * INPUT_POSE_STRIDE);
    updateInputPoses('right', poses, inStream);
    for (const [i, name] of POSES.entries()) {
      const row = inStream.subarray(i * INPUT_POSE_STRIDE, (i + 1) * INPUT_POSE_STRIDE);
      const expected = compose(wrist, [...row] as RigidPose);
      const found = await locate(name);
      for (let k = 0; k < 3; k++) expect(found[k], name).toBeCloseTo(expected[k], 4);
      expect(Math.abs(dot(found.slice(3), expected.slice(3))), name).toBeCloseTo(1, 4);
    }

    const pinch = await locate('pinch_ext');
    const tips = middle(joint(5), joint(10));
    expect(Math.hypot(...minus(pinch, tips))).toBeLessThan(1e-4);
    // +Z from there to the middle of the two proximal joints.
    const towards = unit(minus(middle(joint(3), joint(7)), tips));
    expect(dot(turned(pinch, 0, 0, 1), towards)).toBeGreaterThan(0.9999);
    // +Y to the side of the thumb: -X of a right hand's palm.
    expect(dot(turned(pinch, 0, 1, 0), turned(joint(0), -1, 0, 0))).toBeGreaterThan(0.5);

    const poke = await locate('poke_ext');
    const tip = joint(10);
    const radius = poses[10 * 8 + 7];
    // A sphere of the tip's radius has its centre one radius along +Z.
    const centre = [0, 1, 2].map((i) => poke[i] + radius * turned(poke, 0, 0, 1)[i]);
    expect(Math.hypot(...minus(centre, tip))).toBeLessThan(1e-4);
    expect(dot(turned(poke, 0, 1, 0), turned(tip, 0, 1, 0))).toBeGreaterThan(0.999);
    await endWell(app);
  });

  it('works both ways round, and between two poses of the hand', async () => {
    const app = rig.start({ offers });
    await app.world(
      `controller right ${SIMPLE}`,
      `grip right ${at(0.1, 1.2, -0.2, 0.3, 0.1, -0.2, 0.9).join(' ')}`,
    );
    await app.open(EXTENSION);
    rig.peer.wear('right');
    await rig.peer.subscribed();
    await makeHandActions(app);
    await app.do('attach game', 'sync game');
    const there = poseOf(await app.do('locate poke_ext local'));
    const back = poseOf(await app.do('locate local poke_ext'));
    const nothing = compose(there, back);
    for (let i = 0; i < 3; i++) expect(Math.abs(nothing[i])).toBeLessThan(1e-5);
    const between = compose(poseOf(await app.do('locate poke_ext pinch_ext')), [0, 0, 0, 0, 0, 0, 1]);
    const expected = compose(invert(poseOf(await app.do('locate pinch_ext local'))), there);
    for (let i = 0; i < 3; i++) expect(between[i]).toBeCloseTo(expected[i], 4);
    expect((await app.ask('locate poke_ext local 0')).result).toBe(XR.timeInvalid);
    await app.do('destroy-space poke_ext');
    expect((await app.ask('locate poke_ext local')).result).toBe(XR.handleInvalid);
    await endWell(app);
  });
});

it('puts the poses on the wrist that a camera sees, where nothing is held', async () => {
  const app = rig.start({ offers: 'time hands' });
  const wrist = at(0.2, 1, -0.5, 0.1, 0.7, 0.1, 0.6);
  await app.world(`camera right ${wrist.join(' ')}`);
  await app.open(EXTENSION, 'XR_EXT_hand_tracking');
  const { poses } = rig.peer.wear('right');
  await rig.peer.subscribed();
  await makeHandActions(app);
  await app.do('attach game', 'sync game');
  const gripped = poseOf(await app.do('locate grip local'));
  const expected = compose(wrist, gripInWrist('right', poses));
  for (let i = 0; i < 7; i++) expect(gripped[i]).toBeCloseTo(expected[i], 4);
  await app.world('camera right off');
  expect(await app.do('locate grip local')).toMatchObject({ flags: 0, moving: 0 });
  await endWell(app);
});

it('is refused where the application did not enable it, as the runtime would', async () => {
  for (const offers of ['time', 'time interaction']) {
    const app = rig.start({ offers });
    await app.open();
    await app.do('set game 0', 'action game pinch float left right', 'action game at pose left right');
    const suggest = `pinch ${input('right', 'pinch_ext/value')}`;
    expect((await app.ask(`suggest ${HANDS} ${suggest}`)).result).toBe(XR.pathUnsupported);
    const pose = `at ${input('right', 'pinch_ext/pose')}`;
    expect((await app.ask(`suggest ${SIMPLE} ${pose}`)).result).toBe(XR.pathUnsupported);
    await endWell(app);
  }
});

it('checks what is suggested for it as a runtime does', async () => {
  for (const offers of ['time', 'time interaction']) {
    const app = rig.start({ offers });
    await app.open(EXTENSION);
    await app.do('set game 0', 'action game pinch float left right');
    const result = async (command: string) => (await app.ask(command)).result;
    expect(await result(`suggest ${HANDS} pinch ${input('right', 'trigger/value')}`)).toBe(
      XR.pathUnsupported,
    );
    expect(await result(`suggest ${HANDS} pinch /user/head/input/pinch_ext/value`)).toBe(XR.pathUnsupported);
    if (offers === 'time') {
      expect(await result(`suggest ${HANDS} nothing ${input('right', 'pinch_ext/value')}`)).toBe(
        XR.handleInvalid,
      );
      expect(await result(`suggest ${HANDS}`)).toBe(XR.validationFailure);
    }
    await app.do(`suggest ${HANDS} pinch ${input('right', 'pinch_ext/value')}`, 'attach game');
    expect(await result(`suggest ${HANDS} pinch ${input('right', 'pinch_ext/value')}`)).toBe(
      XR.actionsetsAlreadyAttached,
    );
    await endWell(app);
  }
});

it('brings its poses to every profile', async () => {
  const app = rig.start();
  const grip = at(0, 1, 0);
  await app.world(`controller right ${SIMPLE}`, `grip right ${grip.join(' ')}`);
  await app.open(EXTENSION);
  const { poses } = rig.peer.wear('right');
  await rig.peer.subscribed();
  await app.do('set game 0', 'action game poke pose left right', 'action game grip pose left right');
  await app.do(
    `suggest ${SIMPLE} poke ${input('right', 'poke_ext/pose')} grip ${input('right', 'grip/pose')}`,
    'space poke poke right',
    'attach game',
    'sync game',
  );
  expect(await app.do('get poke right')).toMatchObject({ active: 1 });
  const wrist = compose(grip, invert(gripInWrist('right', poses)));
  const tip = compose(wrist, jointOf(poses, 10));
  expect(Math.hypot(...minus(poseOf(await app.do('locate poke local')), tip))).toBeLessThan(0.015);
  await endWell(app);
});

it('leaves the poses of a controller to the runtime', async () => {
  const sides: HandSide[] = ['right'];
  const app = rig.start();
  await app.world(`controller right ${SIMPLE}`, 'grip right 0.5 1 0 0 0 0 1');
  await app.open();
  for (const side of sides) rig.peer.wear(side);
  await rig.peer.subscribed();
  await attachGrip(app);
  await app.do('space grip grip right', 'sync game');
  expect(poseOf(await app.do('locate grip local'))).toEqual([0.5, 1, 0, 0, 0, 0, 1]);
  await endWell(app);
});
