import { describe, expect, it } from 'vitest';
import {
  bar,
  drawHands,
  flexion,
  type Look,
  sayHand,
  take,
  type View,
} from '../../../src/commands/shared/hand-view.js';
import {
  createPoses,
  createSkeleton,
  DOF_COUNT,
  DOF_MAX,
  FINGERS,
  forwardKinematics,
  JOINT_COUNT,
  POSE_STRIDE,
} from '../../../src/hand/index.js';
import type { ServerMessage, ServerMessageOf } from '../../../src/protocol/messages.js';

const LOOK: Look = { columns: 80, unicode: true, colour: false };

/** A pose with every flexion at a part of its range, and fingers spread as far as they go. */
function jointsAt(part: number, hand: 'left' | 'right' = 'right'): ServerMessageOf<'joints'> {
  const dofs = Float64Array.from(DOF_MAX, (max) => max * part);
  expect(dofs).toHaveLength(DOF_COUNT);
  const flat = createPoses();
  forwardKinematics(createSkeleton({ side: hand, lengthM: 0.19, breadthM: 0.085 }), dofs, flat);
  const poses = Array.from({ length: JOINT_COUNT }, (_, j) =>
    Array.from(flat.subarray(j * POSE_STRIDE, (j + 1) * POSE_STRIDE)),
  );
  const fingers = {
    thumb: 'tracked',
    index: 'tracked',
    middle: 'inferred',
    ring: 'tracked',
    little: 'invalid',
  } as const;
  return { type: 'joints', hand, seq: 1, timeUs: 1, space: 'wrist', valid: true, fingers, poses };
}

const LINK = { state: 'live', address: 'simulated' } as const;

function viewOf(...messages: unknown[]): View {
  const view: View = new Map();
  const welcome = {
    type: 'welcome',
    hands: [{ hand: 'right', name: 'My glove', armed: false, link: LINK }],
  };
  for (const message of [welcome, ...messages]) take(view, message as ServerMessage, 1000);
  return view;
}

describe('flexion', () => {
  it.each(['left', 'right'] as const)(
    'is the part of the range that a %s finger is bent, whatever its splay',
    (hand) => {
      for (const part of [0, 0.25, 0.5, 1]) {
        const joints = jointsAt(part, hand);
        // The arch of ring and little lies at the CMC: it is no flexion of the finger.
        for (const [i, finger] of FINGERS.entries()) expect(flexion(joints, i), finger).toBeCloseTo(part, 1);
      }
    },
  );
});

describe('bar', () => {
  it('fills in eighths of a cell and marks the stop', () => {
    expect(bar(0.5, undefined, true)).toBe(`${'█'.repeat(12)}${'·'.repeat(12)}`);
    expect(bar(0.5 + 0.5 / 24, undefined, true)).toBe(`${'█'.repeat(12)}▌${'·'.repeat(11)}`);
    expect(bar(0.125, 1, false)).toBe(`###${'.'.repeat(20)}|`);
    expect(bar(7, 0, false)).toBe(`|${'#'.repeat(23)}`);
  });
});

describe('drawHands', () => {
  const resistance = {
    type: 'resistance',
    hand: 'right',
    armed: true,
    fingers: { index: { curl: 0.5, stopAt: 0.6, effort: 1, by: 'sculptor' } },
  };
  const health = {
    type: 'health',
    hand: 'right',
    link: LINK,
    rateHz: 499.6,
    lost: 2,
    batteryMv: 3900,
    faults: ['supplyLow'],
    channels: [
      { role: 'ring.curl', verdict: 'healthy' },
      { role: 'little.curl', verdict: 'dead', remedy: 'Look at its connector. '.repeat(8) },
    ],
  };
  const inputs = {
    type: 'inputs',
    hand: 'right',
    values: {
      '/user/hand/right/input/a/click': true,
      '/user/hand/right/input/b/click': false,
      '/user/hand/right/input/trigger/value': 0.5,
    },
  };

  it('shows rates, fingers, who holds them, inputs and faults, within 80 columns', () => {
    const lines = drawHands(
      viewOf(jointsAt(0.5), resistance, health, inputs),
      { ...LOOK, columns: 200 },
      1500,
    );
    expect(lines[0]).toBe('Right hand  My glove  500 samples/s, 1 poses/s  live  armed');
    expect(lines[2]).toMatch(
      /^ {2}index {2}[█▏▎▍▌▋▊▉·┃]{24} {2}\d\d % {2}tracked {3}held at 60 % by sculptor$/,
    );
    expect(lines[5]).toMatch(/^ {2}little .* invalid$/);
    expect(lines).toContain('  [a]  trigger 0.50');
    expect(lines).toContain('  2 frames lost, battery 3.90 V');
    const ill = lines.indexOf('  little.curl dead');
    // What to do is shown whole.
    expect(
      lines
        .slice(ill + 1, -2)
        .map((line) => line.trim())
        .join(' '),
    ).toBe('Look at its connector. '.repeat(8).trim());
    expect(lines.at(-1)).toBe('  The glove reports: its supply is low.');
    for (const line of lines) expect(line.length).toBeLessThanOrEqual(80);
  });

  it('says who places the hand, how old and how noisy that is, and what is amiss', () => {
    const wrist = {
      source: 'app',
      app: 'work\x1bshop',
      of: 'tracker',
      ageMs: 8.4,
      jitterMm: 0.62,
      delayMs: 31.2,
      delayBy: 'motion',
      note: 'garden puts this hand 30 cm away: end one of them.',
    };
    const lines = drawHands(viewOf(jointsAt(0.5), { ...health, wrist }), LOOK, 1000);
    const at = lines.findIndex((line) => line.startsWith('  Placed'));
    expect(lines.slice(at, at + 3)).toEqual([
      '  Placed by work?shop, by a tracker on the glove: 8 ms old, noise 0.6 mm, 31 ms',
      '  late, taken out.',
      '  garden puts this hand 30 cm away: end one of them.',
    ]);
    const none = drawHands(viewOf(jointsAt(0.5), { ...health, wrist: { source: 'none' } }), LOOK, 1000);
    expect(none).toContain('  Shown in one place: no tracker, app or motion sensor says where the hand is.');
  });

  it('keeps to the width of a narrow terminal, to ASCII, and paints only when asked', () => {
    const view = viewOf(jointsAt(0.5), resistance, health);
    for (const line of drawHands(view, { columns: 40, unicode: false, colour: false }, 1000)) {
      expect(line).toMatch(/^[\x20-\x7e]{0,40}$/);
    }
    const painted = drawHands(view, { ...LOOK, colour: true }, 1000);
    expect(painted[0]).toContain('\x1b[32mlive\x1b[0m');
  });

  it('says why a hand is not there, and lets no text of the stream steer the terminal', () => {
    const lost = { type: 'health', hand: 'right', rateHz: 0, lost: 0, faults: [], channels: [] };
    const link = { ...LINK, state: 'lost', reason: 'unplugged\x1b[2J\n' };
    const lines = drawHands(viewOf({ ...lost, link }), LOOK, 1000);
    expect(lines[1]).toBe('  unplugged?[2J?');
    expect(drawHands(new Map(), LOOK, 0)).toEqual(['No hands yet.']);
  });

  const why = {
    reason: 'the servo pulls up to 15 N, more than the 8 N of safety.maxTensionN',
    remedy: 'Use a wider spool.',
  };
  const strong = {
    type: 'welcome',
    hands: [
      {
        hand: 'right',
        name: 'My glove',
        armed: false,
        link: LINK,
        actuators: [
          { role: 'thumb', kind: 'stringStop' },
          { role: 'index', kind: 'stringStop', unused: why },
          { role: 'ring', kind: 'stringStop', unused: why },
        ],
      },
    ],
  };

  it('says which finger stays free whatever is asked, why, and what to do', () => {
    const view = viewOf(strong, jointsAt(0.5));
    const lines = drawHands(view, LOOK, 1000);
    expect(
      lines.filter((line) => line.endsWith('stays free')).map((line) => line.trim().split(' ')[0]),
    ).toEqual(['index', 'ring']);
    expect(lines.join('\n')).toContain(
      '  index, ring stay free: the servo pulls up to 15 N, more than the 8 N of\n  safety.maxTensionN. Use a wider spool.',
    );
    expect(sayHand([...view.values()][0])).toMatch(
      /thumb \d+%, index \d+% stays free, middle .*ring \d+% stays free, /,
    );
  });

  it('says that a recording is shown, by its name, and then nothing of what the glove could hold', () => {
    const [hand] = strong.hands;
    const recorded = { ...hand, link: { ...LINK, recorded: 'grasp\x1b.mcap' } };
    const view = viewOf({ ...strong, hands: [recorded] }, jointsAt(0.5));
    const lines = drawHands(view, LOOK, 1000);
    expect(lines[1]).toBe('  a recording is shown (grasp?.mcap), no force is possible');
    expect(lines.join()).not.toContain('stays free');
    expect(sayHand([...view.values()][0])).toMatch(
      /, live, a recording is shown \(grasp\?\.mcap\), no force is possible, disarmed$/,
    );
    // The glove itself again.
    take(view, strong as unknown as ServerMessage, 1000);
    expect(drawHands(view, LOOK, 1000).join()).not.toContain('recording');
  });

  it('forgets a hand that a later welcome leaves out, and poses older than a second', () => {
    const view = viewOf(jointsAt(0));
    expect(drawHands(view, LOOK, 2000)[0]).toContain(' 0 poses/s');
    take(view, { type: 'welcome', hands: [] } as unknown as ServerMessage, 0);
    expect(view.size).toBe(0);
  });

  it('says a hand in one line', () => {
    const [hand] = viewOf(jointsAt(0), resistance).values();
    expect(sayHand(hand, 1500)).toBe(
      'right, thumb 0%, index 0% held at 60%, middle 0% inferred, ring 0%, little 0% invalid, 1 poses/s, live, armed',
    );
  });
});
