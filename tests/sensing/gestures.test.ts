import { describe, expect, it } from 'vitest';
import { createPoses, forwardKinematics } from '../../src/hand/forward.js';
import { createSkeleton } from '../../src/hand/skeleton.js';
import { INVALID } from '../../src/hand/validity.js';
import { GESTURES, type GestureName } from '../../src/protocol/constants.js';
import { createOfflineHands } from '../../src/recording/offline.js';
import { openSession } from '../../src/recording/session.js';
import { createGestures } from '../../src/sensing/gestures.js';
import { createInputs } from '../../src/sensing/inputs.js';
import { createSensing, type Sensing } from '../../src/sensing/sensing.js';
import { between, seeded } from '../contact/random.js';
import { CURL_ROLES, channel, feedTo, gaussian, gloveWith } from './glove-signals.js';

const OPEN = 500;
const CLOSED = 3500;
const at = (...curls: number[]) => curls.map((curl) => Math.round(OPEN + curl * (CLOSED - OPEN)));

/** A hand by the counts of its five strings. */
function wear() {
  const glove = gloveWith(CURL_ROLES.map((role) => channel(role)));
  const sensing = createSensing({ glove });
  const inputs = createInputs(glove);
  const gestures = createGestures(glove.hand, inputs);
  const skeleton = createSkeleton({ side: glove.hand });
  const poses = createPoses();
  const changes: { name: GestureName; active: boolean; timeUs: number }[] = [];
  const before = new Uint8Array(GESTURES.length);
  const feed = feedTo(
    {
      update(samples, timeUs) {
        sensing.update(samples, timeUs);
        forwardKinematics(skeleton, sensing.dofs, poses);
        inputs.update(sensing, poses);
        const changed = gestures.update(sensing, timeUs);
        expect(changed).toBe(before.some((was, i) => was !== gestures.active[i]));
        GESTURES.forEach((name, i) => {
          if (before[i] === gestures.active[i]) return;
          expect(gestures.sinceUs[i]).toBe(timeUs);
          changes.push({ name, active: gestures.active[i] === 1, timeUs });
        });
        before.set(gestures.active);
      },
    },
    500,
  );
  let counts = at(0, 0, 0, 0, 0);
  /** Goes there in 0.2 s, and stays for 0.6 s. */
  const go = (...curls: number[]): GestureName[] => {
    const from = counts;
    const to = at(...curls);
    for (let k = 1; k <= 400; k++) {
      const t = Math.min(1, k / 100);
      counts = from.map((c, i) => Math.round(c + t * (to[i] - c)));
      feed.send(counts);
    }
    return GESTURES.filter((_, i) => gestures.active[i] === 1);
  };
  return { go, feed, changes, gestures, sensing };
}

describe('gestures', () => {
  it('are what the hand does', () => {
    const { go } = wear();
    expect(go(0, 0, 0, 0, 0)).toEqual(['flat']);
    expect(go(0.6, 0.05, 0.05, 0.05, 0.05)).toEqual(['flat']);
    expect(go(0.3, 0.05, 0.9, 0.9, 0.9)).toEqual(['grasp_ext', 'point']);
    expect(go(0.6, 0.95, 0.95, 0.95, 0.95)).toEqual(
      expect.arrayContaining(['aim_activate_ext', 'grasp_ext', 'fist']),
    );
    // A thumb that is up makes no fist.
    expect(go(0, 0.95, 0.95, 0.95, 0.95)).not.toContain('fist');
    expect(go(0.2, 0.35, 0.35, 0.35, 0.35)).toEqual([]);
  });

  it('begin and end once while a finger goes through every curl, there and back', () => {
    const { go, changes } = wear();
    go(0, 0, 0, 0, 0);
    changes.length = 0;
    for (const curl of [0.2, 0.4, 0.6, 0.8, 1, 0.8, 0.6, 0.4, 0.2, 0]) go(curl, curl, curl, curl, curl);
    for (const name of ['fist', 'grasp_ext', 'aim_activate_ext'] as const) {
      expect(
        changes.filter((change) => change.name === name).map(({ active }) => active),
        name,
      ).toEqual([true, false]);
    }
    expect(changes.filter(({ name }) => name === 'flat').map(({ active }) => active)).toEqual([false, true]);
  });

  it.each(GESTURES)('do not flicker while sensors are noisy at any threshold: %s', (name) => {
    const random = seeded(GESTURES.indexOf(name) + 1);
    const noise = gaussian(GESTURES.indexOf(name) + 9);
    for (let place = 0; place < 30; place++) {
      const { feed, changes } = wear();
      const curls = Array.from({ length: 5 }, () => between(random, 0, 1));
      // Thresholds lie on these lines: all fingers alike, or the index finger apart from the others.
      if (place % 3 === 0) curls.fill(curls[1]);
      if (place % 3 === 1) curls.fill(curls[2], 2);
      const rest = at(...curls);
      for (let k = 0; k < 1000; k++) feed.send(rest.map((count) => Math.round(count + 12 * noise())));
      // Once to begin with, and once more if noise carries it over the first threshold.
      expect(
        changes.filter((change) => change.name === name && change.timeUs > 1e5).length,
      ).toBeLessThanOrEqual(1);
    }
  });

  it('make no pinch of a fist that opens, although the tips meet on the way', () => {
    const { go, changes } = wear();
    go(0.6, 0.95, 0.95, 0.95, 0.95);
    changes.length = 0;
    go(0, 0, 0, 0, 0);
    expect(changes).toContainEqual(expect.objectContaining({ name: 'fist', active: false }));
    expect(changes.filter(({ name }) => name === 'pinch_ext')).toEqual([]);
  });

  it('all end at once when the hand is lost', () => {
    const { go, gestures, sensing } = wear();
    expect(go(0, 0, 0, 0, 0)).toEqual(['flat']);
    const lost = { ...sensing, fingerStates: new Uint8Array(5).fill(INVALID) } as Sensing;
    expect(gestures.update(lost, sensing.timeUs + 1)).toBe(true);
    expect([...gestures.active]).toEqual([0, 0, 0, 0, 0, 0]);
  });

  it('end when curls are not numbers', () => {
    const { go, gestures, sensing } = wear();
    go(0, 0, 0, 0, 0);
    const broken = { ...sensing, curl: new Float64Array(5).fill(Number.NaN) } as Sensing;
    expect(gestures.update(broken, sensing.timeUs + 100_000)).toBe(true);
    expect(gestures.active[GESTURES.indexOf('flat')]).toBe(0);
  });
});

describe('gestures of recorded sessions', () => {
  it.each(['everyday', 'grasp'])('%s: every state lasts for a tenth of a second at least', (name) => {
    const session = openSession(`config/sessions/${name}.mcap`);
    const last = new Map<string, { active: boolean; timeUs: number }>();
    let changes = 0;
    let shortestUs = Number.POSITIVE_INFINITY;
    const hands = createOfflineHands(session, (hand, { timeUs }) => {
      const { states } = hands.readGestures(hand);
      for (const gesture of GESTURES) {
        const key = `${hand} ${gesture}`;
        const { active } = states[gesture];
        const before = last.get(key);
        if (before?.active === active) continue;
        if (before) {
          changes++;
          if (before.timeUs > 0) shortestUs = Math.min(shortestUs, timeUs - before.timeUs);
        }
        last.set(key, { active, timeUs: before ? timeUs : 0 });
      }
    });
    session.visit(hands.visitor);
    session.close();
    if (process.env.TAUTLINE_TEST_FIGURES) console.log({ name, changes, shortestMs: shortestUs / 1000 });
    expect(changes).toBeGreaterThan(4);
    expect(shortestUs).toBeGreaterThan(100_000);
  });
});
