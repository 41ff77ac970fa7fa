import { describe, expect, it } from 'vitest';
import { compose, invert } from '../../src/client/rigid.js';
import { type Driver, XR } from './driver.js';
import { pause } from './peer.js';
import {
  at,
  attachGrip,
  endWell,
  expectJoints,
  FULL,
  gripInWrist,
  input,
  PAD,
  SIDES,
  SIMPLE,
  useRig,
} from './rig.js';

const rig = useRig();
const HAND_TRACKING = 'XR_EXT_hand_tracking';

interface Bound {
  name: string;
  set?: string;
  type: 'bool' | 'float' | 'vector' | 'pose' | 'haptic';
  /** Behind /user/hand/SIDE, of both hands. */
  path: string;
}

async function makeActions(
  app: Driver,
  profile: string,
  bound: Bound[],
  hands = 'left right',
): Promise<void> {
  const pairs: string[] = [];
  for (const { name, set = 'game', type, path } of bound) {
    await app.do(`action ${set} ${name} ${type} ${hands}`);
    for (const side of SIDES) pairs.push(`${name} /user/hand/${side}/${path}`);
  }
  await app.do(`suggest ${profile} ${pairs.join(' ')}`);
}

const TRIGGER: Bound = { name: 'trigger', type: 'float', path: 'input/trigger/value' };
const GRIP: Bound = { name: 'grip', type: 'pose', path: 'input/grip/pose' };

/** A full controller in the right hand, unless told otherwise, and a glove on it. */
async function open(
  bound: Bound[],
  options: { controller?: boolean; offers?: string; extensions?: string[] } = {},
) {
  const app = rig.start({ offers: options.offers ?? 'time' });
  if (options.controller ?? true) await app.world(`controller right ${FULL}`, 'grip right 0 1 0 0 0 0 1');
  await app.open(...(options.extensions ?? []));
  rig.peer.wear('right');
  await rig.peer.subscribed();
  await app.do('set game 0');
  await makeActions(app, FULL, bound);
  await app.do('attach game');
  return app;
}

describe('what glove and controller say together', () => {
  it('is the larger of two numbers, the longer of two vectors, and either of two booleans', async () => {
    const app = await open([
      TRIGGER,
      { name: 'squeeze', type: 'float', path: 'input/squeeze/force' },
      { name: 'walk', type: 'vector', path: 'input/thumbstick' },
      { name: 'turn', type: 'float', path: 'input/thumbstick/x' },
      { name: 'jump', type: 'bool', path: 'input/a/click' },
      { name: 'menu', type: 'bool', path: 'input/menu/click' },
    ]);
    await rig.peer.inputs('right', {
      'trigger/value': 0.3,
      'squeeze/value': 0.9,
      'thumbstick/x': -0.5,
      'thumbstick/y': 0.5,
      'a/click': true,
    });
    await app.world(
      `set ${input('right', 'trigger/value')} 0.6`,
      `set ${input('right', 'thumbstick/x')} 0.4`,
      `set ${input('right', 'menu/click')} 1`,
    );
    await app.do('sync game');
    const get = async (action: string) => (await app.do(`get ${action} right`)).value;
    expect(await get('trigger')).toBeCloseTo(0.6);
    expect(await get('squeeze')).toBeCloseTo(0.9);
    expect(await get('walk')).toEqual([-0.5, 0.5]);
    expect(await get('turn')).toBeCloseTo(-0.5);
    expect(await get('jump')).toBe(1);
    expect(await get('menu')).toBe(1);
    // Without a subaction path: of all hands.
    expect((await app.do('get squeeze')).value).toBeCloseTo(0.9);
    expect(await app.do('get squeeze left')).toMatchObject({ active: 0, value: 0, changed: 0 });
    await endWell(app);
  });

  it('is frozen at a sync, and told as changed against the last one', async () => {
    const app = await open([TRIGGER]);
    const { peer } = rig;
    const get = () => app.do('get trigger right');
    await peer.inputs('right', { 'trigger/value': 0.25 });
    await app.do('sync game');
    const first = await get();
    expect(first).toMatchObject({ active: 1, changed: 0, value: 0.25 });
    await peer.inputs('right', { 'trigger/value': 0.5 });
    expect(await get()).toEqual(first);
    await app.do('sync game');
    const second = await get();
    expect(second).toMatchObject({ active: 1, changed: 1, value: 0.5 });
    expect(Number(second.changedAt)).toBeGreaterThan(Number(first.changedAt));
    const now = Number(await app.world('now'));
    expect(now - Number(second.changedAt)).toBeGreaterThan(0);
    expect(now - Number(second.changedAt)).toBeLessThan(1e9);
    await app.do('sync game');
    expect(await get()).toEqual({ ...second, changed: 0 });
    // The controller changes below the glove: the larger stays as it is.
    await app.world(`set ${input('right', 'trigger/value')} 0.4`);
    await app.do('sync game');
    expect(await get()).toEqual({ ...second, changed: 0 });
    await app.world(`set ${input('right', 'trigger/value')} 0.75`);
    await app.do('sync game');
    expect(await get()).toMatchObject({ value: 0.75, changed: 1 });
    // A glove that goes takes its part with it.
    await peer.inputs('right', { 'trigger/value': 1 });
    await app.do('sync game');
    expect(await get()).toMatchObject({ value: 1, changed: 1 });
    peer.frozen = true;
    let gone = await get();
    for (let i = 0; i < 500 && gone.value === 1; i++) {
      await pause(5);
      await app.do('sync game');
      gone = await get();
    }
    expect(gone).toMatchObject({ value: 0.75, changed: 1, active: 1 });
    await app.do('sync game');
    expect(await get()).toMatchObject({ value: 0.75, changed: 0 });
    await endWell(app);
  });

  it('counts every change of many, once', async () => {
    const app = await open([TRIGGER, { name: 'fire', type: 'bool', path: 'input/trigger/value' }]);
    let last = 0;
    for (let i = 1; i <= 40; i++) {
      const value = Math.abs(Math.sin(i * i));
      await rig.peer.inputs('right', { 'trigger/value': value });
      await app.do('sync game');
      const state = await app.do('get trigger right');
      expect(state.value).toBeCloseTo(value, 5);
      expect(state.changed, `${i}`).toBe(i === 1 ? 0 : Number(value !== last));
      last = value;
    }
    await endWell(app);
  });

  it('turns a number into a boolean with hysteresis', async () => {
    const app = await open([
      { name: 'fire', type: 'bool', path: 'input/trigger/value' },
      { name: 'near', type: 'bool', path: 'input/trigger/touch' },
    ]);
    const seen: unknown[] = [];
    for (const value of [0, 0.5, 0.7, 0.5, 0.45, 0.3, 0.5, 0.61]) {
      await rig.peer.inputs('right', { 'trigger/value': value });
      await app.do('sync game');
      seen.push((await app.do('get fire right')).value);
    }
    expect(seen).toEqual([0, 0, 1, 1, 1, 0, 0, 1]);
    expect((await app.do('get near right')).value).toBe(1);
    await rig.peer.inputs('right', { 'trigger/value': 0.01 });
    await app.do('sync game');
    expect((await app.do('get near right')).value).toBe(0);
    await endWell(app);
  });

  it('presses the pad of a controller that has nothing else', async () => {
    const app = rig.start();
    await app.open();
    rig.peer.wear('right');
    await rig.peer.subscribed();
    await app.do('set game 0');
    await makeActions(app, PAD, [
      { name: 'press', type: 'bool', path: 'input/trackpad/click' },
      { name: 'swipe', type: 'vector', path: 'input/trackpad' },
    ]);
    await app.do('attach game');
    await rig.peer.inputs('right', { 'trigger/value': 1, 'thumbstick/x': 0.25, 'thumbstick/y': 1 });
    await app.do('sync game');
    expect((await app.do('get press right')).value).toBe(1);
    expect((await app.do('get swipe right')).value).toEqual([0.25, 1]);
    await endWell(app);
  });
});

describe('several action sets', () => {
  async function openSets(priorities: Record<string, number>, offers = 'time', extensions: string[] = []) {
    const app = rig.start({ offers });
    await app.world(`controller right ${FULL}`, 'grip right 0 1 0 0 0 0 1');
    await app.open(...extensions);
    rig.peer.wear('left');
    rig.peer.wear('right');
    await rig.peer.subscribed();
    const pairs: string[] = [];
    for (const [set, priority] of Object.entries(priorities)) {
      await app.do(`set ${set} ${priority}`, `action ${set} ${set}-pull float left right`);
      await app.do(`action ${set} ${set}-squeeze float left right`);
      for (const side of SIDES) pairs.push(`${set}-pull ${input(side, 'trigger/value')}`);
    }
    const [first] = Object.keys(priorities);
    pairs.push(`${first}-squeeze ${input('right', 'squeeze/value')}`);
    await app.do(`suggest ${FULL} ${pairs.join(' ')}`, `attach ${Object.keys(priorities).join(' ')}`);
    for (const side of SIDES) await rig.peer.inputs(side, { 'trigger/value': 0.5, 'squeeze/value': 0.8 });
    return app;
  }
  const states = async (app: Driver, ...actions: string[]) =>
    Promise.all(actions.map(async (action) => (await app.do(`get ${action}`)).active));

  it('give an input to the highest that is synchronised, and to all of the same', async () => {
    const app = await openSets({ low: 1, high: 7, also: 7 });
    await app.do('sync low high');
    expect(await states(app, 'low-pull right', 'high-pull right')).toEqual([0, 1]);
    expect(await app.do('get low-pull right')).toMatchObject({ value: 0, changed: 0 });
    // Another input of the lower set is its own.
    expect(await app.do('get low-squeeze right')).toMatchObject({ active: 1, value: expect.closeTo(0.8) });
    await app.do('sync low');
    expect(await states(app, 'low-pull right', 'high-pull right')).toEqual([1, 0]);
    await app.do('sync high also');
    expect(await states(app, 'high-pull right', 'also-pull right', 'low-pull right')).toEqual([1, 1, 0]);
    await endWell(app);
  });

  it('are active for the hands they are synchronised for', async () => {
    const app = await openSets({ low: 1, high: 7 });
    await app.do('sync low high:left');
    expect(await states(app, 'low-pull left', 'low-pull right', 'high-pull left', 'high-pull right')).toEqual(
      [0, 1, 1, 0],
    );
    await app.do('sync low:right');
    expect(await states(app, 'low-pull left', 'low-pull right', 'low-pull')).toEqual([0, 1, 1]);
    await endWell(app);
  });

  it('may be given other priorities for a while', async () => {
    const app = await openSets({ low: 1, high: 7 }, 'time priority', ['XR_EXT_active_action_set_priority']);
    await app.do('sync low=9 high');
    // The test runtime keeps to the priorities of creation, so the left hand alone, which has no controller, tells.
    expect(await states(app, 'low-pull left', 'high-pull left')).toEqual([1, 0]);
    await endWell(app);
  });

  it('never lose the wrist, nor lose anything to it', async () => {
    const { peer } = rig;
    const { poses } = peer.wear('right');
    const app = rig.start();
    const grip = at(0, 1, 0.2);
    await app.world(`controller right ${SIMPLE}`, `grip right ${grip.join(' ')}`);
    await app.open(HAND_TRACKING);
    await peer.subscribed();
    await app.do(
      'set low 0',
      'set high 5',
      'action low low-grip pose left right',
      'action high high-grip pose left right',
    );
    const pairs = ['low-grip', 'high-grip'].flatMap((name) =>
      SIDES.map((side) => `${name} ${input(side, 'grip/pose')}`),
    );
    await app.do(`suggest ${SIMPLE} ${pairs.join(' ')}`, 'attach low high', 'tracker right right');
    const wrist = compose(grip, invert(gripInWrist('right', poses)));
    for (const [sync, active] of [
      ['low high', [0, 1]],
      ['high', [0, 1]],
      ['low', [1, 0]],
      ['low:right high:left', [1, 0]],
    ] as const) {
      await app.do('frames 1', `sync ${sync}`);
      expect(await states(app, 'low-grip right', 'high-grip right'), sync).toEqual(active);
      expectJoints(await app.do('hands right local'), wrist, poses);
    }
    await endWell(app);
  });
});

describe('attaching', () => {
  const wristOf = (grip: ReturnType<typeof at>) => {
    const { poses } = rig.peer.hands.right!;
    return { wrist: compose(grip, invert(gripInWrist('right', poses))), poses };
  };
  const GRIP_AT = at(0, 1, 0.2);
  async function openPlain(offers = 'time') {
    const app = rig.start({ offers });
    await app.world(`controller right ${SIMPLE}`, `grip right ${GRIP_AT.join(' ')}`);
    await app.open(HAND_TRACKING);
    rig.peer.wear('right');
    await rig.peer.subscribed();
    await app.do('tracker right right');
    return app;
  }

  it('is not needed: an application without actions has hands after some frames', async () => {
    const app = await openPlain();
    expect((await app.do('hands right local')).active).toBe(0);
    await app.do('frames 80');
    const { wrist, poses } = wristOf(GRIP_AT);
    expectJoints(await app.do('hands right local'), wrist, poses);
    await endWell(app);
  });

  it('may come late: an application that has made its sets loses nothing by waiting', async () => {
    const app = await openPlain();
    await app.do('set game 3', 'action game fire bool left right');
    await app.do(`suggest ${SIMPLE} fire ${input('right', 'select/click')}`, 'frames 80');
    await app.do('attach game', 'frames 1', 'sync game');
    const { wrist, poses } = wristOf(GRIP_AT);
    expectJoints(await app.do('hands right local'), wrist, poses);
    await app.world(`set ${input('right', 'select/click')} 1`);
    await app.do('sync game');
    expect((await app.do('get fire right')).value).toBe(1);
    await endWell(app);
  });

  it('may even come after ours: the actions follow the glove then', async () => {
    const app = await openPlain();
    await app.do(
      'frames 80',
      'set game 3',
      'action game fire bool left right',
      'action game buzz haptic left right',
    );
    await app.do(
      `suggest ${SIMPLE} fire ${input('right', 'select/click')} buzz /user/hand/right/output/haptic`,
    );
    expect((await app.ask('get fire right')).result).toBe(XR.actionsetNotAttached);
    expect((await app.ask('sync game')).result).toBe(XR.actionsetNotAttached);
    await app.do('attach game', 'frames 1');
    expect((await app.ask('attach game')).result).toBe(XR.actionsetsAlreadyAttached);
    await rig.peer.inputs('right', { 'trigger/value': 1 });
    await app.do('sync game');
    expect(await app.do('get fire right')).toMatchObject({ active: 1, value: 1 });
    expect((await app.ask('get fire right as=bool')).result).toBe(XR.success);
    expect((await app.ask('get buzz right as=bool')).result).toBe(XR.actionTypeMismatch);
    await app.do('vibrate buzz right 0.5 20000000 100');
    const { wrist, poses } = wristOf(GRIP_AT);
    expectJoints(await app.do('hands right local'), wrist, poses);
    await endWell(app);
  });

  it('is refused as the runtime refuses it', async () => {
    const app = await openPlain();
    await app.do('set game 0', 'action game grip pose left right');
    expect((await app.ask('attach')).result).toBe(XR.validationFailure);
    expect((await app.ask('attach wrong-type game')).result).toBe(XR.validationFailure);
    expect((await app.ask('attach nothing')).result).toBe(XR.handleInvalid);
    await app.do(`suggest ${SIMPLE} grip ${input('right', 'grip/pose')}`, 'attach game');
    expect((await app.ask('attach game')).result).toBe(XR.actionsetsAlreadyAttached);
    await app.do('frames 1', 'sync game');
    const { wrist, poses } = wristOf(GRIP_AT);
    expectJoints(await app.do('hands right local'), wrist, poses);
    await endWell(app);
  });

  it('keeps what was suggested last for a profile', async () => {
    const app = await openPlain();
    await app.do('set game 0', 'action game one bool left right', 'action game two bool left right');
    await app.do(`suggest ${SIMPLE} one ${input('right', 'select/click')}`);
    await app.do(`suggest ${SIMPLE} two ${input('right', 'select/click')}`, 'attach game');
    await rig.peer.inputs('right', { 'trigger/value': 1 });
    await app.do('sync game');
    expect(await app.do('get one right')).toMatchObject({ active: 0, value: 0 });
    expect(await app.do('get two right')).toMatchObject({ active: 1, value: 1 });
    expect(await app.world(`suggested ${SIMPLE}`)).not.toContain('one=');
    await endWell(app);
  });

  it('finds names for our own sets, whatever the application’s are', async () => {
    const app = await openPlain();
    for (let i = 1; i <= 3; i++) await app.do(`set s${i} 0 tautline-wrist-${i}`);
    await app.do('action s1 grip pose left right', `suggest ${SIMPLE} grip ${input('right', 'grip/pose')}`);
    await app.do('attach s1 s2 s3', 'frames 1', 'sync s1');
    const { wrist, poses } = wristOf(GRIP_AT);
    expectJoints(await app.do('hands right local'), wrist, poses);
    await endWell(app);
  });

  it('goes on without our sets where they cannot be made', async () => {
    const app = await openPlain('time nosets');
    await attachGrip(app);
    await app.do('frames 1', 'sync game');
    expect(await app.do('get grip right')).toMatchObject({ active: 1 });
    expect((await app.do('hands right local')).active).toBe(0);
    await endWell(app);
  });

  it('forgets what an application has destroyed', async () => {
    const app = await openPlain();
    await app.do(
      'set old 0',
      'set game 0',
      'action old gone bool left right',
      'action game also bool left right',
    );
    await app.do('action game fire bool left right');
    await app.do(
      `suggest ${SIMPLE} gone ${input('right', 'select/click')} also ${input('right', 'menu/click')} fire ${input('right', 'select/click')}`,
    );
    await app.do('destroy-set old', 'destroy-action also', 'attach game');
    await rig.peer.inputs('right', { 'trigger/value': 1 });
    await app.do('sync game');
    expect((await app.do('get fire right')).value).toBe(1);
    await endWell(app);
  });

  it('happens once a session: a second session has hands and inputs like the first', async () => {
    const app = await openPlain();
    await attachGrip(app);
    await app.do('frames 1', 'sync game');
    const { wrist, poses } = wristOf(GRIP_AT);
    expectJoints(await app.do('hands right local'), wrist, poses);
    await app.do('request-exit', 'poll', 'end', 'destroy-session');
    await app.do('session', 'begin', 'poll', 'reference local local', 'attach game', 'tracker right right');
    await app.do('frames 1', 'sync game');
    expectJoints(await app.do('hands right local'), wrist, poses);
    expect(await app.do('get grip right')).toMatchObject({ active: 1 });
    await endWell(app);
  });
});

describe('a session without focus', () => {
  it('has no inputs, and no vibrations', async () => {
    const app = await open([TRIGGER, { name: 'buzz', type: 'haptic', path: 'output/haptic' }]);
    await rig.peer.inputs('right', { 'trigger/value': 1 });
    await app.do('sync game');
    expect(await app.do('get trigger right')).toMatchObject({ active: 1, value: 1 });
    await app.world('focus off');
    await app.do('poll');
    expect((await app.ask('sync game')).result).toBe(XR.notFocused);
    expect(await app.do('get trigger right')).toMatchObject({
      active: 0,
      value: 0,
      changed: 0,
      changedAt: 0,
    });
    expect((await app.ask('vibrate buzz right 1 50000000 0')).result).toBe(XR.notFocused);
    await app.world('focus on');
    await app.do('poll', 'sync game');
    expect(await app.do('get trigger right')).toMatchObject({ active: 1, value: 1, changed: 0 });
    await rig.peer.arrived();
    expect(rig.peer.pulses()).toEqual([]);
    await endWell(app);
  });
});

describe('the profile of a hand without a controller', () => {
  it('is one that the application suggested, with an event when it comes and goes', async () => {
    const app = await open([TRIGGER, GRIP], { controller: false });
    const { peer } = rig;
    expect((await app.do('profile right')).profile).toBe('');
    await app.do('sync game');
    expect((await app.do('poll')).events).toEqual(['profile']);
    expect((await app.do('profile right')).profile).toBe(FULL);
    expect((await app.do('profile left')).profile).toBe('');
    expect((await app.do('sources trigger')).sources).toEqual([
      `${input('right', 'trigger/value')}|Right Hand Glove trigger`,
    ]);
    await peer.inputs('right', { 'trigger/value': 0.5 });
    await app.do('sync game');
    expect(await app.do('get trigger right')).toMatchObject({ active: 1, value: 0.5 });
    expect((await app.do('poll')).events).toEqual([]);

    peer.frozen = true;
    await pause(300);
    // Between syncs nothing changes.
    expect((await app.do('profile right')).profile).toBe(FULL);
    await app.do('sync game');
    expect((await app.do('profile right')).profile).toBe('');
    expect((await app.do('poll')).events).toEqual(['profile']);
    expect(await app.do('get trigger right')).toMatchObject({ active: 0, value: 0, changed: 0 });
    await endWell(app);
  });

  it('is the controller’s again when one is taken up', async () => {
    const app = await open([TRIGGER], { controller: false });
    await app.do('sync game', 'poll');
    await app.world(`controller right ${FULL}`);
    await app.do('sync game');
    expect((await app.do('profile right')).profile).toBe(FULL);
    expect((await app.do('sources trigger')).sources).toEqual([
      `${input('right', 'trigger/value')}|Test ${input('right', 'trigger/value')}`,
    ]);
    await endWell(app);
  });

  it('is never one that only we suggested', async () => {
    const app = rig.start();
    await app.world(`controller right ${SIMPLE}`);
    await app.open('XR_EXT_hand_interaction');
    rig.peer.wear('left');
    await rig.peer.subscribed();
    await app.do('set game 0', 'action game pinch float left right');
    await app.do(
      `suggest /interaction_profiles/ext/hand_interaction_ext pinch ${input('left', 'pinch_ext/value')}`,
      'attach game',
      'sync game',
    );
    expect((await app.do('profile right')).profile).toBe('');
    expect((await app.do('profile left')).profile).toBe('/interaction_profiles/ext/hand_interaction_ext');
    await endWell(app);
  });
});
