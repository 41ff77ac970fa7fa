import { describe, expect, it } from 'vitest';
import { compose, invert, type RigidPose } from '../../src/client/rigid.js';
import { DOF_COUNT } from '../../src/hand/dofs.js';
import { createPoses, createVelocities, forwardKinematics, jointVelocities } from '../../src/hand/forward.js';
import { createSkeleton } from '../../src/hand/skeleton.js';
import { NO_SERVICE, XR } from './driver.js';
import { bentHand, pause } from './peer.js';
import {
  at,
  attachGrip,
  endWell,
  expectJoints,
  gripInWrist,
  rows,
  SIDES,
  SIMPLE,
  speeds,
  TRACKED,
  useRig,
  VALID,
} from './rig.js';

const rig = useRig();
const HAND_TRACKING = 'XR_EXT_hand_tracking';
const pose = (p: readonly number[]) => p.join(' ');

/** A headset with a controller on the right wrist, and an application that draws hands. */
async function openWithController(grip = at(0.2, 1.2, -0.3, 0.1, 0.2, 0.3, 0.9), ...extensions: string[]) {
  const app = rig.start();
  await app.world(`controller right ${SIMPLE}`, `grip right ${pose(grip)}`);
  await app.open(HAND_TRACKING, ...extensions);
  await rig.peer.subscribed();
  await attachGrip(app);
  await app.do('tracker right right', 'tracker left left', 'frames 1', 'sync game');
  return app;
}

describe('the glove’s hand on the wrist that carries a controller', () => {
  it.each(SIDES)('has the joints of the stream, %s', async (side) => {
    const { peer } = rig;
    const { poses } = peer.wear(side, { poses: bentHand(side, 0.7) });
    const app = rig.start();
    const grip = at(-0.4, 1.1, 0.3, 0.3, -0.5, 0.2, 0.7);
    await app.world(`controller ${side} ${SIMPLE}`, `grip ${side} ${pose(grip)}`);
    await app.open(HAND_TRACKING);
    await peer.subscribed();
    await attachGrip(app);
    await app.do(`tracker mine ${side}`, 'frames 1', 'sync game');
    // A controller lies in the hand as its grip pose says, as long as no other mount was measured.
    const wrist = compose(grip, invert(gripInWrist(side, poses)));
    expectJoints(await app.do('hands mine local'), wrist, poses);
    // The same, seen from a head that is elsewhere.
    const head = at(0, 1.6, 0);
    expectJoints(await app.do('hands mine view'), compose(invert(head), wrist), poses);
    await endWell(app);
  });

  it('sits where the measured mount puts it, also when that comes later', async () => {
    const { peer } = rig;
    const { poses } = peer.wear('right');
    const mount = at(0.02, -0.05, 0.11, 0.5, 0.1, -0.4, 0.6);
    peer.mounts.right = mount;
    const grip = at(0.2, 1.2, -0.3, 0.1, 0.2, 0.3, 0.9);
    const app = await openWithController(grip);
    expectJoints(await app.do('hands right local'), compose(grip, mount), poses);
    const other = at(0, 0, 0.1);
    for (const socket of peer.sockets) {
      socket.send(JSON.stringify({ type: 'welcome', timeUs: 0, hands: [{ hand: 'right', mount: other }] }));
    }
    peer.sendPoses();
    await peer.arrived();
    expectJoints(await app.do('hands right local'), compose(grip, other), poses);
    await endWell(app);
  });

  it('has its grip told to the service, as it is and when it was there, while the glove is live', async () => {
    const { peer } = rig;
    peer.wear('right');
    const grip = at(0.2, 1.2, -0.3, 0.1, 0.2, 0.3, 0.9);
    const app = await openWithController(grip);
    for (let n = 0; n < 20; n++) {
      await app.do('frames 1', 'sync game');
      await pause(10);
    }
    const told = peer.requests.filter(({ type }) => type === 'tracker');
    expect(told.length).toBeGreaterThan(3);
    for (const { hand, of, world, position, orientation, timeUs, atMs } of told) {
      expect({ hand, of, world }).toEqual({ hand: 'right', of: 'tracker', world: 'local' });
      for (let k = 0; k < 3; k++) expect((position as number[])[k]).toBeCloseTo(grip[k], 5);
      for (let k = 0; k < 4; k++) expect((orientation as number[])[k]).toBeCloseTo(grip[3 + k], 5);
      const lateMs = atMs - ((timeUs as number) - peer.epochUs) / 1000;
      expect(lateMs).toBeGreaterThan(-5);
      expect(lateMs).toBeLessThan(100);
    }
    await endWell(app);
  });

  it.each([
    ['in stage space where the wearer wants that, as the application would find it there', 'time', 'stage'],
    ['in local space, and says so, where the runtime has no stage', 'time floorless', 'local'],
  ])('has its grip told %s', async (_, offers, world) => {
    const { peer } = rig;
    const { poses } = peer.wear('right');
    const mount = at(0.02, -0.05, 0.11, 0.5, 0.1, -0.4, 0.6);
    peer.mounts.right = mount;
    peer.stage = true;
    await peer.tell();
    const grip = at(0.2, 1.2, -0.3, 0.1, 0.2, 0.3, 0.9);
    const app = rig.start({ offers });
    await app.world(`controller right ${SIMPLE}`, `grip right ${pose(grip)}`);
    await app.open(HAND_TRACKING);
    await peer.subscribed();
    await attachGrip(app);
    await app.do('tracker right right', 'frames 1', 'sync game');
    for (let n = 0; n < 20; n++) {
      await app.do('frames 1', 'sync game');
      await pause(10);
    }
    // The stage of the test runtime, as it lies in local space: turned by 73.7 degrees about the vertical.
    const stage = at(0.5, -1.5, -0.25, 0, 0.6, 0, 0.8);
    const expected = world === 'stage' ? compose(invert(stage), grip) : grip;
    const told = peer.requests.filter(({ type }) => type === 'tracker');
    expect(told.length).toBeGreaterThan(3);
    for (const one of told) {
      expect(one.world).toBe(world);
      const seen = [...(one.position as number[]), ...(one.orientation as number[])];
      for (let k = 0; k < 7; k++) expect(seen[k]).toBeCloseTo(expected[k], 5);
    }
    // The application's own hand is where it was.
    expectJoints(await app.do('hands right local'), compose(grip, mount), poses);
    await endWell(app);
  });

  it('is re-based on its wrist when another app’s tracker has put the stream into the world', async () => {
    const root = at(3, 1, 2, 0.4, 0.4, -0.2, 0.8);
    const poses = bentHand('right', 0.5, Float64Array.from(root));
    rig.peer.wear('right', { poses, space: 'world' });
    const grip = at(0.2, 1.2, -0.3);
    const app = await openWithController(grip);
    const wrist = compose(grip, invert(gripInWrist('right', bentHand('right', 0.5))));
    expectJoints(await app.do('hands right local'), wrist, poses);
    await endWell(app);
  });

  it('moves as it says: velocities against differences of positions', async () => {
    const { peer } = rig;
    const skeleton = createSkeleton({ side: 'right' });
    const dofs = new Float64Array(DOF_COUNT).map((_, i) => 0.05 + 0.02 * i);
    const rates = new Float64Array(DOF_COUNT).map((_, i) => 3 - 0.2 * i);
    const poses = createPoses();
    const velocities = createVelocities();
    forwardKinematics(skeleton, dofs, poses);
    jointVelocities(skeleton, rates, poses, velocities);
    peer.wear('right', { poses, velocities });
    const app = await openWithController();
    // One sample, looked at from two times and from two places of the wrist between which it moved.
    peer.frozen = true;
    const [linear, angular] = [
      [0.4, -0.2, 0.7],
      [0.5, 1.5, -1],
    ];
    const wristAt = (seconds: number): RigidPose => {
      const angle = Math.hypot(...angular) * seconds;
      const s = Math.sin(angle / 2) / Math.hypot(...angular);
      const turn = at(
        0,
        0,
        0,
        ...(angular.map((w) => w * s) as [number, number, number]),
        Math.cos(angle / 2),
      );
      const start = at(0.2, 1.2, -0.3, 0.1, 0.2, 0.3, 0.9);
      const turned = compose(turn, at(0, 0, 0, start[3], start[4], start[5], start[6]));
      return [
        ...([0, 1, 2].map((i) => start[i] + linear[i] * seconds) as [number, number, number]),
        ...(turned.slice(3) as [number, number, number, number]),
      ];
    };
    const now = Number(await app.world('now'));
    const step = 2e-3;
    const look = async (seconds: number) => {
      const motion = [...wristAt(seconds), ...linear, ...angular];
      await app.world(`grip right ${motion.join(' ')}`);
      return app.do(`hands right local time=${now + 5e6 + Math.round(seconds * 1e9)}`);
    };
    const before = await look(-step);
    const middle = await look(0);
    const after = await look(step);
    expect(middle.active).toBe(1);
    for (let joint = 0; joint < 26; joint++) {
      const [flags, ...speed] = speeds(middle)[joint];
      expect(flags).toBe(3);
      for (let i = 0; i < 3; i++) {
        const difference = (rows(after)[joint][1 + i] - rows(before)[joint][1 + i]) / (2 * step);
        expect(Math.abs(speed[i] - difference)).toBeLessThan(0.02);
      }
      // ω from two orientations: 2 (dq/dt) q⁻¹.
      const q = rows(middle)[joint].slice(4, 8);
      const sign = (row: number[]) => (q.reduce((sum, x, i) => sum + x * row[4 + i], 0) < 0 ? -1 : 1);
      const dq = [0, 1, 2, 3].map(
        (i) =>
          (sign(rows(after)[joint]) * rows(after)[joint][4 + i] -
            sign(rows(before)[joint]) * rows(before)[joint][4 + i]) /
          (2 * step),
      );
      const [ax, ay, az, aw] = dq;
      const [bx, by, bz, bw] = [-q[0], -q[1], -q[2], q[3]];
      const spin = [
        aw * bx + ax * bw + ay * bz - az * by,
        aw * by - ax * bz + ay * bw + az * bx,
        aw * bz + ax * by - ay * bx + az * bw,
      ];
      for (let i = 0; i < 3; i++) expect(Math.abs(speed[3 + i] - 2 * spin[i])).toBeLessThan(0.05);
    }
    await endWell(app);
  });

  it('is carried ahead by no more than 50 ms', async () => {
    const { peer } = rig;
    const velocities = createVelocities();
    for (let joint = 7; joint < 11; joint++) velocities.set([0, 0, 0, -4, 0, 0], joint * 6);
    peer.wear('right', { velocities });
    const app = await openWithController();
    for (let tries = 0; ; tries++) {
      peer.frozen = false;
      peer.sendPoses();
      peer.frozen = true;
      await peer.arrived();
      const now = Number(await app.world('now'));
      const [before, soon, later, latest] = await Promise.all(
        [-40e6, 2e6, 100e6, 160e6].map((ns) => app.do(`hands right local time=${now + ns}`)),
      );
      // Where the machine stalls, the sample is too old by now.
      if (!latest.active && tries < 20) continue;
      const tip = (answer: typeof soon) => rows(answer)[10].slice(1, 4);
      expect(tip(later)).toEqual(tip(latest));
      expect(tip(soon)).not.toEqual(tip(before));
      expect(tip(before)).not.toEqual(tip(later));
      break;
    }
    await endWell(app);
  });

  it('says of each finger whether it is sensed', async () => {
    rig.peer.wear('right', { fingers: Uint8Array.of(2, 1, 0, 2, 1) });
    const app = await openWithController();
    const flags = rows(await app.do('hands right local')).map(([first]) => first);
    const fingers = [flags.slice(2, 6), flags.slice(6, 11), flags.slice(11, 16), flags.slice(16, 21)];
    expect(flags.slice(0, 2)).toEqual([VALID | TRACKED, VALID | TRACKED]);
    expect(new Set(fingers[0])).toEqual(new Set([VALID | TRACKED]));
    expect(new Set(fingers[1])).toEqual(new Set([VALID]));
    expect(new Set(fingers[2])).toEqual(new Set([VALID]));
    expect(new Set(fingers[3])).toEqual(new Set([VALID | TRACKED]));
    expect(new Set(flags.slice(21))).toEqual(new Set([VALID]));
    // A wrist that is guessed makes everything guessed.
    await app.world('track right inferred');
    expect(new Set(rows(await app.do('hands right local')).map(([first]) => first))).toEqual(
      new Set([VALID]),
    );
    await app.world('track right lost');
    expect((await app.do('hands right local')).active).toBe(0);
    await endWell(app);
  });

  it('is one of two', async () => {
    const { peer } = rig;
    const left = peer.wear('left', { poses: bentHand('left', 0.2) });
    const right = peer.wear('right', { poses: bentHand('right', 1.1) });
    const app = rig.start();
    const grips = { left: at(-0.3, 1, -0.3), right: at(0.3, 1.1, -0.2, 0, 0, 1, 1) };
    for (const side of SIDES) {
      await app.world(`controller ${side} ${SIMPLE}`, `grip ${side} ${pose(grips[side])}`);
    }
    await app.open(HAND_TRACKING);
    await peer.subscribed();
    await attachGrip(app);
    await app.do('tracker left left', 'tracker right right', 'frames 1', 'sync game');
    for (const [side, hand] of [['left', left] as const, ['right', right] as const]) {
      const wrist = compose(grips[side], invert(gripInWrist(side, hand.poses)));
      expectJoints(await app.do(`hands ${side} local`), wrist, hand.poses);
    }
    await endWell(app);
  });
});

describe('a hand that is not there', () => {
  const inactive = (answer: Record<string, unknown>) => {
    expect(answer.active).toBe(0);
    for (const [flags] of answer.joints as number[][]) expect(flags & VALID).toBe(0);
    for (const [flags] of answer.velocities as number[][]) expect(flags).toBe(0);
  };

  it('is the other one, the one whose glove is silent, and the one of a session without focus', async () => {
    const { peer } = rig;
    peer.wear('right');
    const app = await openWithController();
    expect((await app.do('hands right local')).active).toBe(1);
    inactive(await app.do('hands left local'));

    await app.world('focus off');
    await app.do('poll');
    inactive(await app.do('hands right local'));
    await app.world('focus on');
    await app.do('poll', 'sync game');
    expect((await app.do('hands right local')).active).toBe(1);

    peer.wear('right', { valid: false });
    await peer.arrived();
    inactive(await app.do('hands right local'));
    peer.wear('right', { valid: true });
    await peer.arrived();
    expect((await app.do('hands right local')).active).toBe(1);
    await endWell(app);
  });

  it('is that of a session without focus, also where the runtime goes on tracking', async () => {
    rig.peer.wear('right');
    const app = rig.start({ offers: 'time tracking' });
    await app.world(`controller right ${SIMPLE}`, 'grip right 0 1 0 0 0 0 1');
    await app.open(HAND_TRACKING);
    await rig.peer.subscribed();
    await attachGrip(app);
    await app.do('tracker right right', 'frames 1', 'sync game');
    expect((await app.do('hands right local')).active).toBe(1);
    await app.world('focus off');
    await app.do('poll');
    inactive(await app.do('hands right local'));
    await endWell(app);
  });

  it('is gone 200 ms after the last sample, and back with the next', async () => {
    const { peer } = rig;
    peer.wear('right');
    const app = await openWithController();
    peer.frozen = true;
    const frozenMs = performance.now();
    await pause(100);
    const still = await app.do('hands right local');
    const askedMs = performance.now();
    if (askedMs - frozenMs < 190) expect(still.active).toBe(1);
    inactive(await app.until('hands right local', ({ active }) => active === 0));
    expect(performance.now() - frozenMs).toBeGreaterThan(190);
    peer.frozen = false;
    peer.sendPoses();
    await peer.arrived();
    expect((await app.do('hands right local')).active).toBe(1);
    await endWell(app);
  });
});

describe('calls that no runtime would take', () => {
  it('are refused with the specification’s answers, and write nothing', async () => {
    rig.peer.wear('right');
    const app = await openWithController(undefined, 'XR_EXT_hand_joints_motion_range');
    const refused = async (command: string, result: number) => {
      const answer = await app.ask(command);
      expect(answer.result, command).toBe(result);
      expect(answer.intact ?? true, command).toBe(true);
    };
    for (const count of [25, 27, 0]) {
      await refused(`hands right local joints=${count}`, XR.validationFailure);
      await refused(`hands right local moving=${count}`, XR.validationFailure);
    }
    await refused('hands right local badbase', XR.handleInvalid);
    await refused('hands right local time=0', XR.timeInvalid);
    await refused('hands right local time=-5', XR.timeInvalid);
    await refused('hands right local range=3', XR.validationFailure);
    for (const range of [1, 2]) await refused(`hands right local range=${range}`, XR.success);
    await refused('tracker bad right type=wrong', XR.validationFailure);
    await refused('tracker bad right set=7', XR.validationFailure);
    await refused('tracker bad neither', XR.validationFailure);
    await refused('tracker bad right session=dead', XR.handleInvalid);
    await app.do('drop right');
    await refused('hands right local', XR.handleInvalid);
    await refused('drop right', XR.handleInvalid);
    await app.do('destroy-session');
    await refused('hands left local', XR.handleInvalid);
    await refused('drop left', XR.handleInvalid);
    await endWell(app);
  });
});

describe('a headset that tracks hands by itself', () => {
  const wrist = at(0.1, 1.3, -0.4, 0.2, -0.1, 0.6, 0.7);

  it('lends its wrist to the glove, without a mount, and has its own hand wherever the glove is not', async () => {
    const { peer } = rig;
    peer.mounts.right = at(0.5, 0.5, 0.5);
    const { poses } = peer.wear('right', { poses: bentHand('right', 0.9) });
    const app = rig.start({ offers: 'time hands' });
    await app.world(`camera right ${pose(wrist)}`, `camera left ${pose(at(-0.1, 1, -0.3))}`);
    await app.open(HAND_TRACKING);
    await peer.subscribed();
    await app.do('tracker right right', 'tracker left left', 'frames 1');
    expectJoints(await app.do('hands right local'), wrist, poses);
    // A row of joints, a centimetre apart: the runtime's own.
    const own = await app.do('hands left local');
    expect(own.active).toBe(1);
    expect(
      rows(own)[10]
        .slice(1, 4)
        .map((x) => Number(x.toFixed(4))),
    ).toEqual([-0.1, 1, -0.41]);

    peer.frozen = true;
    const back = await app.until('hands right local', (answer) => rows(answer)[3][8] < 0.0051);
    expect(back.active).toBe(1);

    peer.frozen = false;
    await app.world('camera right off');
    peer.sendPoses();
    await peer.arrived();
    // No wrist, no hand.
    expect((await app.do('hands right local')).active).toBe(0);
    await endWell(app);
  });

  it('prefers what the wrist carries', async () => {
    const { poses } = rig.peer.wear('right');
    const app = rig.start({ offers: 'time hands' });
    const grip = at(0.3, 1, -0.2);
    await app.world(`camera right ${pose(wrist)}`, `controller right ${SIMPLE}`, `grip right ${pose(grip)}`);
    await app.open(HAND_TRACKING);
    await rig.peer.subscribed();
    await attachGrip(app);
    await app.do('tracker right right', 'frames 1', 'sync game');
    const onGrip = compose(grip, invert(gripInWrist('right', poses)));
    expectJoints(await app.do('hands right local'), onGrip, poses);
    await app.world('controller right off');
    await app.do('sync game');
    expectJoints(await app.do('hands right local'), wrist, poses);
    await endWell(app);
  });

  it('gives its own trackers, so that other layers and extensions know them', async () => {
    rig.peer.wear('right');
    const app = rig.start({ offers: 'time hands' });
    await app.open(HAND_TRACKING);
    await app.do('tracker right right', 'hands right local', 'drop right');
    expect((await app.ask('hands right local')).result).toBe(XR.handleInvalid);
    expect((await app.ask('drop right')).result).toBe(XR.handleInvalid);
    await endWell(app);
  });

  it('may say that its system has none: then the glove’s are there all the same', async () => {
    const { poses } = rig.peer.wear('right');
    const app = rig.start({ offers: 'time hands handless' });
    const grip = at(0.3, 1, -0.2);
    await app.world(`controller right ${SIMPLE}`, `grip right ${pose(grip)}`);
    await app.open(HAND_TRACKING);
    await rig.peer.subscribed();
    expect((await app.do('system hands')).hands).toBe(1);
    await attachGrip(app);
    await app.do('tracker right right', 'frames 1', 'sync game');
    expectJoints(
      await app.do('hands right local'),
      compose(grip, invert(gripInWrist('right', poses))),
      poses,
    );
    await endWell(app);
  });
});

describe('what the system says of hands', () => {
  it('is true with a service, false without one, and creation agrees', async () => {
    const app = rig.start();
    await app.open(HAND_TRACKING);
    expect(await app.do('system hands')).toMatchObject({ hands: 1, chainKept: true });
    await app.do('tracker right right');
    await endWell(app);

    const lonely = rig.start({ runtimeFolder: NO_SERVICE });
    await lonely.open(HAND_TRACKING);
    expect(await lonely.do('system hands')).toMatchObject({ hands: 0, chainKept: true });
    expect((await lonely.ask('tracker right right')).result).toBe(XR.featureUnsupported);
    await endWell(lonely);
  });

  it('is the runtime’s own without a service', async () => {
    for (const [offers, hands] of [
      ['time hands', 1],
      ['time hands handless', 0],
    ] as const) {
      const app = rig.start({ runtimeFolder: NO_SERVICE, offers });
      await app.open(HAND_TRACKING);
      expect(await app.do('system hands')).toMatchObject({ hands });
      const made = await app.ask('tracker right right');
      expect(made.result).toBe(hands === 1 ? XR.success : XR.featureUnsupported);
      await endWell(app);
    }
  });

  it('offers no function of extensions that the application did not enable, nor of those that we use', async () => {
    const app = rig.start({ offers: 'time hands' });
    await app.open();
    for (const name of [
      'xrCreateHandTrackerEXT',
      'xrLocateHandJointsEXT',
      'xrConvertTimespecTimeToTimeKHR',
    ]) {
      expect((await app.ask(`function ${name}`)).result, name).toBe(XR.functionUnsupported);
    }
    expect(await app.world('extensions')).toContain('XR_KHR_convert_timespec_time');
    await endWell(app);
    const other = rig.start();
    await other.open('XR_KHR_convert_timespec_time');
    expect((await other.ask('function xrConvertTimespecTimeToTimeKHR')).result).toBe(XR.success);
    await endWell(other);
  });
});

describe('the source of a hand', () => {
  const EXTENSION = 'XR_EXT_hand_tracking_data_source';

  it('is a list without doubles, and a glove is a hand that holds nothing', async () => {
    rig.peer.wear('right');
    const app = await openWithController(undefined, EXTENSION);
    for (const sources of ['', '1,1', '2,1,2', '3', '0']) {
      expect((await app.ask(`tracker bad right sources=${sources}`)).result, sources).toBe(
        XR.validationFailure,
      );
    }
    await app.do('tracker any right sources=2,1', 'tracker held right sources=2');
    expect(await app.do('hands any local source')).toMatchObject({ active: 1, source: [1, 1], intact: true });
    expect(await app.do('hands held local source')).toMatchObject({ active: 0, source: [0, 1] });
    await endWell(app);
  });

  it.each(['time hands', 'time hands source'])('is said over a runtime that offers %s', async (offers) => {
    const { peer } = rig;
    peer.wear('right');
    const app = rig.start({ offers });
    await app.world(`camera right ${pose(at(0, 1, 0))}`, `camera left ${pose(at(0, 1, 0))}`);
    await app.open(HAND_TRACKING, EXTENSION);
    await peer.subscribed();
    await app.do('tracker right right sources=1', 'tracker left left sources=1,2', 'frames 1');
    expect(await app.do('hands right local source')).toMatchObject({
      active: 1,
      source: [1, 1],
      intact: true,
    });
    expect(await app.do('hands left local source')).toMatchObject({
      active: 1,
      source: [1, 1],
      intact: true,
    });
    await endWell(app);
  });
});
