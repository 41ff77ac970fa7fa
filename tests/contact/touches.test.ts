import { describe, expect, it } from 'vitest';
import { NO_STOP } from '../../src/contact/finger-contact.js';
import { createTouchContacts, MAX_TOUCHES, Touches, type TouchRequest } from '../../src/contact/touches.js';
import {
  createClosingProfile,
  createPoses,
  createSkeleton,
  DOF_COUNT,
  forwardKinematics,
  setCurl,
} from '../../src/hand/index.js';
import { compose } from '../hand/mount-wearer.js';

const skeleton = createSkeleton({ side: 'right', lengthM: 0.19 });
const profile = createClosingProfile();

const ball = (over: Partial<TouchRequest> = {}): TouchRequest => ({
  type: 'touch',
  hand: 'right',
  shape: { kind: 'sphere', radius: 0.035 },
  position: [0, -0.065, -0.13],
  ...over,
});

/** One hand with its touches, every finger at one curl. */
function createHand(root?: readonly number[]) {
  const touches = new Touches(skeleton, profile);
  const contacts = createTouchContacts();
  const dofs = new Float64Array(DOF_COUNT);
  const poses = createPoses();
  const solve = (curl: number, nowUs = 0, space: 'wrist' | 'world' = root ? 'world' : 'wrist') => {
    for (let finger = 0; finger < 5; finger++) setCurl(profile, finger, curl, dofs);
    forwardKinematics(skeleton, dofs, poses, root);
    touches.solve(nowUs, dofs, poses, space, contacts);
    return contacts;
  };
  return { touches, contacts, poses, solve };
}

describe('touches', () => {
  it('stop every finger that meets the object and say what it is', () => {
    const { touches, solve } = createHand();
    expect(touches.set('painter', 'cup', ball({ effort: 0.5 }), 0)).toBeUndefined();
    const { stop, by, contact, touching, waiting } = solve(0);
    for (const finger of [1, 2, 3]) {
      expect(stop[finger]).toBeGreaterThan(0.05);
      expect(stop[finger]).toBeLessThan(0.7);
      expect(by[finger]?.app).toBe('painter');
      expect(by[finger]?.layer).toBe('cup');
      expect(by[finger]?.request.effort).toBe(0.5);
      expect(contact[finger]?.depth).toBeLessThan(0);
      expect(touching[finger]).toBe(0);
      expect(waiting[finger]).toBe(0);
    }
  });

  it('do not hold a finger that is closed already when the object comes to where it would close', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball({ position: [0, -0.065, -0.6] }), 0);
    expect(solve(1).stop[1]).toBe(NO_STOP);
    // In front of the fist: open fingers would meet it on their way.
    touches.set(
      'a',
      undefined,
      ball({ shape: { kind: 'sphere', radius: 0.015 }, position: [0, -0.05, -0.18] }),
      0,
    );
    const { stop, waiting } = solve(1);
    const { contacts, holds } = touches.live[0];
    expect(contacts[2].stop).toBeLessThan(0.9);
    expect(contacts[2].depth).toBeLessThan(-0.005);
    expect([stop[2], holds[2], waiting[2]]).toEqual([NO_STOP, 0, 0]);
    // Once the hand has opened it is in the way as ever.
    expect(solve(0.1).stop[2]).toBeCloseTo(contacts[2].stop, 2);
    expect(holds[2]).toBe(1);
  });

  it('say which fingers are at the object, and that thumb and index finger would carry it', () => {
    const { touches, poses, solve } = createHand();
    solve(0.5);
    const [thumb, index] = [5, 10].map((joint) => [...poses.subarray(joint * 8, joint * 8 + 8)]);
    const way = [0, 1, 2].map((i) => index[i] - thumb[i]);
    const gap = Math.hypot(...way) - thumb[7] - index[7];
    const at = (share: number) => [0, 1, 2].map((i) => thumb[i] + share * way[i]) as [number, number, number];
    const middle = (thumb[7] + gap / 2) / Math.hypot(...way);
    const touch = (radius: number, friction?: number) =>
      touches.set(
        'a',
        'bead',
        ball({ shape: { kind: 'sphere', radius }, position: at(middle), friction }),
        0,
      );
    touch(gap / 2 - 0.004);
    solve(0.5);
    expect(touches.live[0].grasp).toMatchObject({ carried: false });
    const changes = touches.graspChanges;
    touch(gap / 2);
    solve(0.5);
    const { grasp } = touches.live[0];
    expect([...grasp.fingers].slice(0, 2)).toEqual([1, 1]);
    expect(grasp.carried).toBe(true);
    expect(touches.graspChanges).toBe(changes + 1);
    solve(0.5);
    expect(touches.graspChanges).toBe(changes + 1);
    // Nobody holds a thing that is gone.
    touches.drop('a');
    expect(touches.graspChanges).toBe(changes + 2);
  });

  it('report touching and depth once the finger is there', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball(), 0);
    const at = solve(0).stop[2];
    const { touching, stop, contact } = solve(at + 0.02, 1000);
    expect(touching[2]).toBe(1);
    expect(stop[2]).toBeCloseTo(at, 3);
    const { depth, depthPerCurl } = contact[2]!;
    expect(depth).toBeGreaterThan(0);
    expect(depth / (depthPerCurl * 0.02)).toBeGreaterThan(0.8);
    expect(depth / (depthPerCurl * 0.02)).toBeLessThan(1.2);
  });

  it.each(['wrist', 'world'] as const)(
    'of what moves are where it has moved to, not where it was renewed: %s',
    (space) => {
      const root = space === 'world' ? [0, 0, 0, 0, 0, 0, 1] : undefined;
      const moving = createHand(root);
      const still = createHand(root);
      moving.touches.set('a', undefined, ball({ space, linearVelocity: [0, 0.5, -0.2] }), 1_000_000);
      for (const ms of [0, 11, 40]) {
        const s = ms / 1000;
        still.touches.set(
          'a',
          undefined,
          ball({ space, position: [0, -0.065 + 0.5 * s, -0.13 - 0.2 * s] }),
          0,
        );
        const [now, there] = [moving.solve(0, 1_000_000 + ms * 1000).stop, still.solve(0).stop];
        for (const finger of [1, 2, 3]) expect(now[finger]).toBeCloseTo(there[finger], 6);
      }
      // An app that does not renew: no further than a tenth of a second.
      still.touches.set('a', undefined, ball({ space, position: [0, -0.015, -0.15] }), 0);
      const [now, there] = [moving.solve(0, 1_200_000).stop, still.solve(0).stop];
      for (const finger of [1, 2, 3]) expect(now[finger]).toBeCloseTo(there[finger], 6);
    },
  );

  it('of what turns are turned', () => {
    const board: Partial<TouchRequest> = {
      shape: { kind: 'box', size: [0.2, 0.02, 0.2] },
      position: [0, -0.06, -0.13],
    };
    const moving = createHand();
    const still = createHand();
    moving.touches.set('a', undefined, ball({ ...board, angularVelocity: [0, 0, 8] }), 0);
    const half = 0.5 * 8 * 0.05;
    still.touches.set(
      'a',
      undefined,
      ball({ ...board, orientation: [0, 0, Math.sin(half), Math.cos(half)] }),
      0,
    );
    const [now, there] = [moving.solve(0, 50_000).stop, still.solve(0, 0).stop];
    for (const finger of [1, 2, 3, 4]) expect(now[finger]).toBeCloseTo(there[finger], 6);
    expect(moving.solve(0, 0).stop[1]).not.toBeCloseTo(there[1], 3);
  });

  it('of a rod that two hands hold stop each hand where it meets the rod itself', () => {
    const rod: Partial<TouchRequest> = { shape: { kind: 'capsule', radius: 0.018, length: 0.5 } };
    const half = Math.PI / 8;
    // The rod in the wrist frame of each hand, and where the hands are: the same rod in the world.
    const inHand = [0, -0.05, -0.1, 0, 0, Math.SQRT1_2, Math.SQRT1_2];
    const roots = [
      [0.2, 1, -0.3, 0, Math.sin(half), 0, Math.cos(half)],
      [-0.1, 1.1, -0.2, Math.sin(half), 0, 0, Math.cos(half)],
    ];
    for (const root of roots) {
      const placed = createHand(root);
      const alone = createHand();
      const world = compose(root, inHand);
      const pose = (p: ArrayLike<number>): Partial<TouchRequest> => ({
        position: [p[0], p[1], p[2]],
        orientation: [p[3], p[4], p[5], p[6]],
      });
      placed.touches.set('a', 'rod', ball({ ...rod, ...pose(world), space: 'world' }), 0);
      alone.touches.set('a', 'rod', ball({ ...rod, ...pose(inHand), space: 'wrist' }), 0);
      const [there, here] = [placed.solve(0).stop, alone.solve(0).stop];
      for (let finger = 0; finger < 5; finger++) expect(there[finger]).toBeCloseTo(here[finger], 6);
      expect(here[2]).toBeLessThan(1);
    }
  });

  it('end at their time, at most a second, and a quarter when none is given', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball(), 1_000_000);
    expect(solve(0, 1_249_999).by[2]).toBeDefined();
    expect(solve(0, 1_250_000).by[2]).toBeUndefined();
    expect(touches.live.length).toBe(0);
    touches.set('a', undefined, ball({ ttlMs: 60_000 }), 0);
    expect(solve(0, 999_999).stop[2]).toBeLessThan(1);
    expect(solve(0, 1_000_000).stop[2]).toBe(NO_STOP);
    touches.set('a', undefined, ball(), 0);
    expect(solve(0, Number.NaN).stop[2]).toBe(NO_STOP);
  });

  it('belong to app and layer: renewing replaces, dropping takes one layer or all', () => {
    const { touches } = createHand();
    touches.set('a', 'x', ball(), 0);
    touches.set('a', 'y', ball(), 0);
    touches.set('b', 'x', ball(), 0);
    touches.set('a', 'x', ball(), 0);
    expect(touches.live.length).toBe(3);
    touches.drop('a', 'x');
    expect(touches.live.map((touch) => touch.app + touch.layer).sort()).toEqual(['ay', 'bx']);
    touches.drop('b', 'none');
    touches.drop('a');
    expect(touches.live.map((touch) => touch.app)).toEqual(['b']);
    touches.clear();
    expect(touches.live.length).toBe(0);
  });

  it('of several things: the first one met stops the finger, and each is still reported', () => {
    const { touches, solve } = createHand();
    touches.set('far', undefined, ball({ shape: { kind: 'sphere', radius: 0.02 } }), 0);
    const far = solve(0).stop[2];
    touches.set('near', undefined, ball(), 0);
    const { stop, by } = solve(0);
    expect(stop[2]).toBeLessThan(far);
    expect(by[2]?.app).toBe('near');
    expect(touches.live[0].contacts[2].stop).toBeCloseTo(far, 6);
    touches.drop('near');
    expect(solve(0).by[2]?.app).toBe('far');
  });

  it('do not hold a finger that is deep inside when they begin, until it has opened to the surface', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball(), 0);
    const surface = solve(0).stop[2];
    touches.clear();

    touches.set('a', undefined, ball(), 0);
    let result = solve(surface + 0.2);
    expect(result.stop[2]).toBe(NO_STOP);
    expect(result.waiting[2]).toBe(1);
    result = solve(surface + 0.1);
    expect(result.stop[2]).toBe(NO_STOP);
    // Renewing, or moving a little, does not change that.
    touches.set('a', undefined, ball(), 100_000);
    result = solve(surface + 0.01, 100_000);
    expect(result.stop[2]).toBe(NO_STOP);
    result = solve(surface - 0.005, 100_000);
    expect(result.stop[2]).toBeCloseTo(surface, 3);
    expect(result.waiting[2]).toBe(0);
    // From now on it is held, also when it is pressed in.
    expect(solve(surface + 0.2, 100_000).stop[2]).toBeCloseTo(surface, 3);
  });

  it('hold a finger that is a little late when they begin', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball(), 0);
    const surface = solve(0).stop[2];
    touches.clear();
    touches.set('a', undefined, ball(), 0);
    expect(solve(surface + 0.03).stop[2]).toBeCloseTo(surface, 3);
  });

  it('begin anew with another kind of shape, and go on with another size', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball(), 0);
    const surface = solve(0).stop[2];
    touches.set('a', undefined, ball({ shape: { kind: 'sphere', radius: 0.036 } }), 0);
    expect(solve(surface + 0.2).stop[2]).toBeLessThan(surface);
    touches.set('a', undefined, ball({ shape: { kind: 'box', size: [0.07, 0.07, 0.07] } }), 0);
    expect(solve(surface + 0.2).stop[2]).toBe(NO_STOP);
  });

  it('free the hand when it opens away or the object leaves', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball(), 0);
    const surface = solve(0).stop[2];
    expect(solve(surface + 0.01).touching[2]).toBe(1);
    expect(solve(surface - 0.1).touching[2]).toBe(0);
    touches.set('a', undefined, ball({ position: [0, -0.4, -0.13] }), 0);
    expect(solve(surface + 0.01).stop[2]).toBe(NO_STOP);
  });

  it('are the same in the frame of the wrist, the palm and the world', () => {
    const root = [0.3, 1.2, -0.4, 0.5, -0.5, 0.5, 0.5];
    const { touches, solve, poses } = createHand(root);
    touches.set('a', undefined, ball(), 0);
    const inWrist = [...solve(0.1).stop];
    const point = [...solve(0.1).contact[2]!.point];
    // The object in the world: root rotates x->y->z->x signs as the quaternion says.
    const [x, y, z] = [0, -0.065, -0.13];
    const tx = 2 * (-0.5 * z - 0.5 * y);
    const ty = 2 * (0.5 * x - 0.5 * z);
    const tz = 2 * (0.5 * y + 0.5 * x);
    const world: [number, number, number] = [
      root[0] + x + 0.5 * tx + (-0.5 * tz - 0.5 * ty),
      root[1] + y + 0.5 * ty + (0.5 * tx - 0.5 * tz),
      root[2] + z + 0.5 * tz + (0.5 * ty + 0.5 * tx),
    ];
    touches.set('a', undefined, ball({ space: 'world', position: world }), 0);
    const inWorld = solve(0.1);
    for (let finger = 0; finger < 5; finger++) {
      if (inWrist[finger] === NO_STOP) expect(inWorld.stop[finger]).toBe(NO_STOP);
      else expect(inWorld.stop[finger]).toBeCloseTo(inWrist[finger], 5);
    }
    for (let i = 0; i < 3; i++) expect(inWorld.contact[2]!.point[i]).toBeCloseTo(point[i], 4);
    // The palm's own position, so the ball is centred on it.
    touches.set('a', undefined, ball({ space: 'palm', position: [0, 0, 0] }), 0);
    solve(0.1);
    const palm = [...touches.live[0].contacts[2].point];
    touches.set('a', undefined, ball({ space: 'world', position: [poses[0], poses[1], poses[2]] }), 0);
    solve(0.1);
    const { stop, point: again } = touches.live[0].contacts[2];
    if (stop !== NO_STOP) for (let i = 0; i < 3; i++) expect(again[i]).toBeCloseTo(palm[i], 4);
  });

  it('in the world are not felt while nobody knows where the wrist is', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball({ space: 'world' }), 0);
    const { stop } = solve(0.1);
    expect([...stop]).toEqual(new Array(5).fill(NO_STOP));
    expect(touches.live[0].placed).toBe(false);
  });

  it('are refused when the shape or the pose is none, and the old one is over', () => {
    const { touches } = createHand();
    touches.set('a', undefined, ball(), 0);
    const flat: TouchRequest['shape'] = {
      kind: 'hull',
      points: [
        [0, 0, 0],
        [1, 0, 0],
        [0, 1, 0],
        [1, 1, 0],
      ],
    };
    expect(touches.set('a', undefined, ball({ shape: flat }), 0)?.code).toBe('badMessage');
    expect(touches.live.length).toBe(0);
    expect(touches.set('a', undefined, ball({ orientation: [0, 0, 0, 0] }), 0)?.code).toBe('badMessage');
    expect(touches.live.length).toBe(0);
  });

  it('are bounded in number; expired ones make room', () => {
    const { touches } = createHand();
    for (let i = 0; i < MAX_TOUCHES; i++) expect(touches.set('a', `${i}`, ball(), 0)).toBeUndefined();
    expect(touches.set('b', undefined, ball(), 0)?.code).toBe('tooMany');
    expect(touches.set('b', undefined, ball(), 300_000)).toBeUndefined();
  });

  it('take another hand over', () => {
    const { touches, solve } = createHand();
    touches.set('a', undefined, ball(), 0);
    const before = solve(0).stop[2];
    touches.setHand(createSkeleton({ side: 'right', lengthM: 0.21 }), profile);
    expect(solve(0).stop[2]).not.toBe(before);
  });
});
