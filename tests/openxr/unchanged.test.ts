import { describe, expect, it } from 'vitest';
import { NO_SERVICE } from './driver.js';
import { pause } from './peer.js';
import { attachGrip, endWell, FULL, PAD, SIMPLE, useRig } from './rig.js';

/** What the layer must not change: everything, where no glove is. */
const rig = useRig();

/** TAUTLINE_SCRIPTS=300 tries more of them. */
const SEEDS = Array.from({ length: Number(process.env.TAUTLINE_SCRIPTS ?? 6) }, (_, i) => i + 1);

/** Numbers as of a seed (Marsaglia's xorshift). */
function numbers(seed: number): (below: number) => number {
  let x = seed * 2654435761;
  return (below) => {
    x ^= x << 13;
    x ^= x >>> 17;
    x ^= x << 5;
    return (x >>> 0) % below;
  };
}

/** Commands of an application that does everything, much of it wrongly. */
function script(seed: number): string[] {
  const random = numbers(seed);
  const of = <T>(list: readonly T[]): T => list[random(list.length)];
  const hand = () => of(['left', 'right', 'any']);
  const side = () => of(['left', 'right']);
  const set = () => of(['s1', 's2', 's3', 'never']);
  const actions = ['b', 'f', 'v', 'p', 'h', 'never'];
  const path = () =>
    `/user/hand/${side()}/${of([
      'input/trigger/value',
      'input/select/click',
      'input/grip/pose',
      'input/aim/pose',
      'input/thumbstick',
      'input/thumbstick/x',
      'input/trackpad/click',
      'input/nonsense',
      'output/haptic',
    ])}`;
  const commands = [
    'create',
    'system',
    'session',
    'begin',
    'poll',
    'reference local local',
    'reference view view',
  ];
  const kinds: (() => string)[] = [
    () => `set ${set()} ${random(3)}`,
    () => `action ${set()} ${of(actions)} ${of(['bool', 'float', 'vector', 'pose', 'haptic'])} left right`,
    () => `action ${set()} ${of(actions)} ${of(['bool', 'float', 'pose'])}`,
    () =>
      `suggest ${of([SIMPLE, FULL, PAD, '/interaction_profiles/no/such'])} ${of(actions)} ${path()} ${of(actions)} ${path()}`,
    () => `suggest ${of([SIMPLE, FULL])} ${of(actions)} ${path()}`,
    () => `runtime controller ${side()} ${of([SIMPLE, FULL, PAD, 'off'])}`,
    () =>
      `runtime set /user/hand/${side()}/input/${of(['trigger/value', 'select/click', 'thumbstick/x'])} ${random(5) / 4}`,
    () => `runtime grip ${side()} ${random(3)} 1 ${random(4)} 0 0 0 1`,
    () => `runtime focus ${of(['on', 'on', 'off'])}`,
    () => 'poll',
    () => 'frames 1',
    () => `sync ${set()} ${set()}:${side()}`,
    () => `sync ${set()}`,
    () => 'sync',
    () => `get ${of(actions)} ${hand()}`,
    () => `get ${of(actions)} ${hand()}`,
    () => `profile ${hand()}`,
    () => `sources ${of(actions)}`,
    () => `space x ${of(actions)} ${hand()}`,
    () => `locate x ${of(['local', 'view', 'x'])}`,
    () => `vibrate ${of(actions)} ${hand()} 1 20000000 0`,
    () => `still ${of(actions)} ${hand()}`,
    () => `runtime haptics ${side()}`,
    () => (random(4) === 0 ? `destroy-action ${of(actions)}` : 'poll'),
    () => (random(6) === 0 ? `destroy-set ${set()}` : 'poll'),
    () => (random(3) === 0 ? 'destroy-space x' : 'poll'),
  ];
  // What most applications do, and then anything.
  for (const name of ['s1', 's2']) commands.push(`set ${name} ${random(2)}`);
  commands.push('action s1 b bool left right', 'action s1 f float left right', 'action s2 p pose left right');
  commands.push(`suggest ${SIMPLE} b ${path()} p /user/hand/left/input/grip/pose`);
  const attachAt = random(60);
  for (let i = 0; i < 200; i++) {
    if (i === attachAt) commands.push(`attach s1 ${of(['s2', 's2', ''])}`);
    commands.push(of(kinds)());
  }
  return commands.concat('attach s3', 'request-exit', 'end', 'destroy-session', 'destroy');
}

/** Answers without what differs from run to run. */
const plain = (answer: Record<string, unknown>) => {
  const { changedAt, ...rest } = answer;
  return JSON.stringify({ ...rest, timed: changedAt !== 0 && changedAt !== undefined });
};

describe('an application where no service runs', () => {
  it.each(SEEDS)('gets every answer that it gets without the layer, %i', async (seed) => {
    const bare = rig.start({ bare: true, runtimeFolder: NO_SERVICE });
    const layered = rig.start({ runtimeFolder: NO_SERVICE });
    for (const [i, command] of script(seed).entries()) {
      const [expected, answer] = await Promise.all([bare.ask(command), layered.ask(command)]);
      expect(plain(answer), `${i}: ${command}`).toBe(plain(expected));
    }
    await Promise.all([bare.quit(), layered.quit()]);
  });
});

describe('the validation layer of the loader’s makers', () => {
  it.each(['above', 'below'] as const)('has nothing to say %s ours', async (validated) => {
    const { peer } = rig;
    const app = rig.start({ validated });
    await app.world(`controller right ${SIMPLE}`, 'grip right 0 1 0 0 0 0 1');
    await app.open('XR_EXT_hand_tracking', 'XR_EXT_hand_joints_motion_range');
    peer.wear('right');
    await peer.subscribed();
    await attachGrip(app);
    await app.do('tracker right right', 'frames 3', 'sync game', 'hands right local', 'get grip right');
    await app.do(
      'space grip grip right',
      'locate grip local',
      'profile right',
      'destroy-space grip',
      'drop right',
    );
    await endWell(app);
  });

  it.each(['above', 'below'] as const)(
    'is indeed there: a call that is wrong is told, %s',
    async (validated) => {
      const app = rig.start({ validated });
      await app.open();
      await app.ask('attach wrong-type');
      expect(app.validation).toContain('xrAttachSessionActionSets');
      await app.quit();
    },
  );
});

describe('switching it off', () => {
  it('is one environment variable', async () => {
    rig.peer.wear('right');
    const app = rig.start({ env: { TAUTLINE_OPENXR_OFF_0_1: '1' } });
    expect((await app.do('extensions')).names).not.toContain('XR_EXT_hand_tracking');
    await app.open();
    await pause(50);
    expect(rig.peer.sockets.size).toBe(0);
    await endWell(app);
  });
});

describe('leaving', () => {
  it('without destroying the instance is no crash, while samples rain', async () => {
    const { peer } = rig;
    peer.wear('right');
    const rain = setInterval(() => {
      for (let i = 0; i < 20; i++) peer.sendPoses();
    }, 1);
    try {
      for (let i = 0; i < 25; i++) {
        peer.requests.length = 0;
        const app = rig.start();
        await app.open('XR_EXT_hand_tracking');
        await peer.subscribed();
        expect(await app.quit()).toEqual({ code: 0, signal: null });
        expect(app.stderr).toBe('');
      }
    } finally {
      clearInterval(rain);
    }
  });

  it('and coming again, with one instance after another, leaves nothing behind', async () => {
    rig.peer.wear('right');
    const app = rig.start();
    for (let i = 0; i < 20; i++) {
      await app.open('XR_EXT_hand_tracking');
      await app.do('tracker right right', 'frames 1');
      await app.do('destroy');
    }
    await app.open('XR_EXT_hand_tracking');
    rig.peer.requests.length = 0;
    await pause(100);
    expect(rig.peer.sockets.size).toBe(1);
    await endWell(app);
  });
});
