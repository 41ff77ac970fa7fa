import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { buildOf, mirrorBuild } from '../../src/config/build.js';
import { compareGloves } from '../../src/config/compare-profiles.js';
import { parseProfile } from '../../src/config/load.js';
import type { GloveProfile, Profile } from '../../src/config/schema.js';

const EXAMPLES = ['five-curl', 'curl-splay-stick', 'joint-sensors', 'text-lines', 'bluetooth', 'simulated'];
const parsed = new Map(
  EXAMPLES.map((name) => [name, parseProfile(readFileSync(`config/${name}.yaml`, 'utf8'), name)]),
);
const example = (name: string): Profile => structuredClone(parsed.get(name)!);

function compared(change: (glove: GloveProfile, profile: Profile) => void, name = 'five-curl'): string[] {
  const [a, b] = [example(name), example(name)];
  change(b.gloves[0], b);
  return compareGloves(
    { called: 'the first', glove: a.gloves[0], rest: a },
    { called: 'the second', glove: b.gloves[0], rest: b },
  );
}

describe('two gloves in words', () => {
  it('says that the index string of the left glove passes higher', () => {
    const right = example('five-curl').gloves[0];
    const [left] = mirrorBuild(buildOf(example('five-curl'))).gloves;
    const called = { right: 'the right glove', left: 'the left glove' };
    const index = left.channels[1];
    index.string!.heightsMm = [16, 12, 10];
    const words = () =>
      compareGloves({ called: called.right, glove: right }, { called: called.left, glove: left });
    expect(words()).toEqual([
      "The left glove's index string passes 4 mm higher over every joint (16, 12, 10 mm, not 12, 8, 6).",
    ]);
    index.string!.heightsMm = [16, 8, 5];
    expect(words()).toEqual([
      "The left glove's index string passes 4 mm higher over the knuckle (16 mm, not 12), 1 mm lower over the last joint (5 mm, not 6).",
    ]);
  });

  it.each(EXAMPLES)(
    'has nothing to say of %s and itself, nor of its mirror image, however it is wired',
    (name) => {
      expect(compared(() => {}, name)).toEqual([]);
      const profile = example(name);
      for (const sameReadings of [false, true]) {
        const [other] = mirrorBuild(buildOf(profile), { sameReadings }).gloves;
        const found = compareGloves({ called: 'a', glove: profile.gloves[0] }, { called: 'b', glove: other });
        expect(found).toEqual([]);
      }
    },
  );

  it.each<[string, (glove: GloveProfile, profile: Profile) => void, string[]]>([
    [
      'spools and potentiometers',
      ({ channels }) => {
        for (const { string } of channels) if (string) string.spoolRadiusMm = 9;
        channels[2].string!.electricalTravelDeg = 300;
      },
      [
        "The second's thumb, index, middle and ring strings wind on spools of 1 mm less radius (9 mm, not 10).",
        "The second's middle potentiometer turns 30 degrees further (300 degrees, not 270).",
      ],
    ],
    [
      'a direction',
      ({ channels }) => {
        Object.assign(channels[4], { open: 3200, closed: 400 });
      },
      [
        "The second's little.curl runs the other way: counts fall towards closed (3200 open and 400 closed, not 400 and 3200).",
      ],
    ],
    [
      'servos',
      ({ actuators }) => {
        actuators[1].stallTorqueNm = 0.2;
        actuators[1].spoolRadiusMm = 17;
        actuators[0].torqueControl = true;
      },
      [
        "The second's thumb string stop heeds the effort asked for.",
        "The second's index string stop stalls at 0.05 N·m more (0.2 N·m, not 0.15).",
        "The second's index string stop pulls at 3 mm less radius (17 mm, not 20).",
      ],
    ],
    [
      'what is there and what is not',
      (glove) => {
        glove.channels.pop();
        glove.actuators.push({ ...glove.actuators[0], role: 'palm', kind: 'vibration' });
        glove.buttons = { a: 0, disarm: 1 };
      },
      [
        'The first alone has the sensor little.curl.',
        'The second alone has the actuator palm vibration motor.',
        "The second's button `disarm` is on bit 1, not 0.",
        'The second has a button `a` on bit 0; the first has none.',
      ],
    ],
    [
      'order',
      ({ channels }) => {
        channels.reverse();
      },
      [
        'The sensors of the second come in another order: little.curl, ring.curl, middle.curl, index.curl, thumb.curl.',
      ],
    ],
    [
      'limits, wearer and the rest',
      (glove, profile) => {
        profile.safety.maxTensionN = 6;
        profile.wearer.handLengthMm = 181;
        profile.stream.port = 7000;
        glove.filter.beta = 4;
      },
      [
        '`filter.beta` is 4 for the second, and 3 for the first.',
        'The second permits 2 N less a string (6 N, not 8).',
        'The second is worn on a hand 8 mm shorter (181 mm, not 189).',
        'They also differ in `stream`, which says nothing of the glove.',
      ],
    ],
  ])('says how they differ in %s', (_, change, sentences) => {
    expect(compared(change)).toEqual(sentences);
  });

  it('finds every figure that differs, of every part', () => {
    const profile = example('curl-splay-stick');
    const [{ channels, actuators }] = profile.gloves;
    const places = [
      ...channels.flatMap((channel, c) => Object.keys(channel).map((key) => ['channels', c, key] as const)),
      ...actuators.flatMap((actuator, a) =>
        Object.keys(actuator).map((key) => ['actuators', a, key] as const),
      ),
    ].filter(([, , key]) => key !== 'role' && key !== 'kind');
    fc.assert(
      fc.property(fc.constantFrom(...places), ([list, at, key]) => {
        const found = compared((glove) => {
          const part = glove[list][at] as unknown as Record<string, unknown>;
          const value = part[key];
          part[key] =
            typeof value === 'number'
              ? value + 0.01
              : typeof value === 'boolean'
                ? !value
                : (value as number[] | number[][]).map((one) =>
                    Array.isArray(one) ? [one[0] + 1, one[1]] : one + 1,
                  );
        }, 'curl-splay-stick');
        expect(found, `${list}[${at}].${key}`).toHaveLength(1);
      }),
      { numRuns: 300 },
    );
  });
});
