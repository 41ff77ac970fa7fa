import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { GloveProfile } from '../../../src/config/schema.js';
import { quantile } from '../../../src/guide/move-statistics.js';
import { FINGERS } from '../../../src/hand/joints.js';
import type { ChannelRole } from '../../../src/protocol/link-table.js';
import { CURL_ROLES } from '../../sensing/glove-signals.js';
import {
  createSyntheticGlove,
  fitGlove,
  fittedProfile,
  type SyntheticOptions,
} from '../../sensing/synthetic-glove.js';
import { errorsOf, FLEXIONS } from '../joint-errors.js';
import { HABITS } from './everyday-wearer.js';
import { learnFromUse } from './use.js';

const BASE = { bow: 0.06, hysteresis: 0.01, noise: 0.0005 };
const PLAIN = { ...BASE, roles: CURL_ROLES, bits: 12, strings: false } as const;
const JOINT_ROLES: ChannelRole[] = [
  'thumb.cmc',
  'thumb.mcp',
  'thumb.ip',
  ...FINGERS.slice(1).flatMap(
    (finger) => [`${finger}.mcp`, `${finger}.pip`, `${finger}.dip`] as ChannelRole[],
  ),
];
const GLOVES: [string, Omit<SyntheticOptions, 'seed'>, number][] = [
  ['12 bits, a range a finger', PLAIN, 30],
  ['10 bits, a range a finger', { ...PLAIN, bits: 10 }, 10],
  ['12 bits, strings', { ...PLAIN, strings: true }, 10],
  ['10 bits, strings, more noise', { ...PLAIN, bits: 10, strings: true, noise: 0.0015 }, 10],
  ['12 bits, a sensor a joint', { ...PLAIN, roles: JOINT_ROLES }, 8],
];

/** Median error of each finger's flexions, degrees. */
function fingerErrors(errors: readonly number[]): number[] {
  return FINGERS.map((_, f) => {
    const own = errors.filter((_, k) => Math.floor((k % FLEXIONS.length) / 3) === f);
    return quantile(own, 0.5);
  });
}

const guided = (glove: ReturnType<typeof createSyntheticGlove>, seed: number): GloveProfile =>
  fittedProfile(glove, fitGlove(glove, { seed, sloppiness: 0.025, pauses: 0.2 }).fit);

describe('a fit from two minutes of ordinary motion', () => {
  it('is within 1.5 x the error of a guided fit: table', () => {
    const rows = ['joint error, degrees: of all wearers; median of each wearer, percentiles 5 25 50 75 95'];
    const misses: string[] = [];
    for (const [name, options, seeds] of GLOVES) {
      const learned: number[] = [];
      const led: number[] = [];
      const medians: number[] = [];
      let channels = 0;
      let told = 0;
      for (let seed = 1; seed <= seeds; seed++) {
        const glove = createSyntheticGlove({ ...options, seed });
        const found = learnFromUse(glove, { seed });
        channels += options.roles.length;
        told += options.roles.length - found.learned.missing.length;
        if (found.learned.channels.length === 0) continue;
        const errors = errorsOf(glove, found.profile, seed, 0, 12);
        learned.push(...errors);
        medians.push(quantile(errors, 0.5));
        led.push(...errorsOf(glove, guided(glove, seed), seed, 0, 12));
      }
      const [middle, p95, ledMiddle, ledP95] = [
        quantile(learned, 0.5),
        quantile(learned, 0.95),
        quantile(led, 0.5),
        quantile(led, 0.95),
      ];
      const spread = [0.05, 0.25, 0.5, 0.75, 0.95].map((p) => quantile(medians, p).toFixed(2)).join(' ');
      rows.push(
        `${name.padEnd(30)} median ${middle.toFixed(2)} p95 ${p95.toFixed(2)} (guided ${ledMiddle.toFixed(2)}, ${ledP95.toFixed(2)})  wearers ${spread}  channels told: ${told} of ${channels}`,
      );
      if (!(middle <= 1.5 * ledMiddle && p95 <= 7 && told >= 0.6 * channels)) misses.push(name);
    }
    console.log(rows.join('\n'));
    expect(misses).toEqual([]);
  }, 300_000);

  it('is not worse than what is in use, whatever that is: table', () => {
    const rows = [
      'fingers: proposed, of those farther off than what was in use, by how much at most (degrees)',
    ];
    const kinds: [
      string,
      (glove: ReturnType<typeof createSyntheticGlove>, seed: number) => GloveProfile,
      boolean,
      number,
    ][] = [
      ['as written by hand', (glove) => glove.profile, false, 0],
      ['guided fit', guided, true, 0],
      ['guided fit, slipped by 2 %', guided, true, 0.02],
      ['guided fit, slipped by 3 %', guided, true, 0.03],
      ['guided fit, slipped by 10 %', guided, true, 0.1],
    ];
    let worst = 0;
    let many = 0;
    for (const [name, inUseOf, fitted, slip] of kinds) {
      let proposed = 0;
      let worse = 0;
      let most = 0;
      const gains: number[] = [];
      for (let seed = 1; seed <= 25; seed++) {
        const glove = createSyntheticGlove({ ...PLAIN, seed });
        const inUse = inUseOf(glove, seed);
        for (let k = 0; k < 5; k++) glove.slip(k, slip);
        const { learned, profile } = learnFromUse(glove, { seed: seed + 500 }, 120, inUse, fitted);
        if (learned.channels.length === 0) continue;
        const before = fingerErrors(errorsOf(glove, inUse, seed, 0, 12, slip));
        const after = fingerErrors(errorsOf(glove, profile, seed, 0, 12, slip));
        for (const { role } of learned.channels) {
          const f = CURL_ROLES.indexOf(role as (typeof CURL_ROLES)[number]);
          proposed++;
          gains.push(before[f] - after[f]);
          if (after[f] <= before[f]) continue;
          worse++;
          most = Math.max(most, after[f] - before[f]);
        }
      }
      worst = Math.max(worst, most);
      many = Math.max(many, worse / Math.max(20, proposed));
      const gain = gains.length > 0 ? quantile(gains, 0.5).toFixed(1) : '-';
      rows.push(
        `${name.padEnd(30)} ${proposed} of 125 proposed, ${worse} worse, by ${most.toFixed(2)} at most; median gain ${gain}`,
      );
    }
    console.log(rows.join('\n'));
    // Over 400 wearers (docs/fitting.md): 0.47 at most, and 1 in 40 of a fit that slipped by 3 %.
    expect(worst).toBeLessThan(0.6);
    expect(many).toBeLessThan(0.06);
  }, 300_000);

  it('never takes open for closed', () => {
    let turned = 0;
    let sure = 0;
    for (let seed = 1; seed <= 40; seed++) {
      const glove = createSyntheticGlove({ ...PLAIN, seed });
      for (const { role, open, closed } of learnFromUse(glove, { seed }).learned.channels) {
        const k = glove.profile.channels.findIndex((channel) => channel.role === role);
        sure++;
        if (closed > open !== glove.rises(k)) turned++;
      }
    }
    console.log(`${sure} of 200 directions said, ${turned} wrong`);
    expect(sure).toBeGreaterThan(80);
    expect(turned).toBe(0);
  }, 300_000);
});

describe('a wearer of whom not enough is seen', () => {
  const says = (habits: Partial<typeof HABITS>, seed: number, seconds = 120) => {
    const glove = createSyntheticGlove({ ...PLAIN, seed });
    return learnFromUse(glove, { seed, habits }, seconds).learned;
  };

  it('gets no proposal without a fist, however often he lifts a mug', () => {
    const { fist: _fist, point: _point, thumbUp: _thumbUp, ...rest } = HABITS;
    for (let seed = 1; seed <= 15; seed++) {
      const { channels, missing } = says({ ...rest, grasp: 0, mug: 6 }, seed);
      expect(channels.map(({ role }) => role)).toEqual([]);
      expect(missing.length).toBeGreaterThan(0);
    }
  });

  it('gets no proposal without a flat hand', () => {
    const { flat: _flat, point: _point, thumbUp: _thumbUp, ...rest } = HABITS;
    for (let seed = 1; seed <= 15; seed++) expect(says(rest, seed).channels).toEqual([]);
  });

  it('is told of too little motion when he keeps still, or only began', () => {
    for (const { channels, missing } of [says({ rest: 1 }, 3), says(HABITS, 3, 20)]) {
      expect(channels).toEqual([]);
      expect(missing.map(({ role }) => role)).toEqual([...CURL_ROLES]);
    }
    expect(says(HABITS, 3, 20).missing[0].says).toBe('thumb.curl: too little motion so far.');
  });

  it('and moves two fingers only gets no proposal for the others', () => {
    let offered = 0;
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 10_000 }),
        fc.shuffledSubarray([0, 1, 2, 3, 4], { minLength: 2, maxLength: 2 }),
        (seed, fingers) => {
          const glove = createSyntheticGlove({ ...PLAIN, seed });
          // Near to a fit in use, ends need no other evidence: only then is anything proposed for two fingers.
          const inUse = guided(glove, seed);
          for (let k = 0; k < 5; k++) glove.slip(k, 0.055);
          const { channels, missing } = learnFromUse(glove, { seed, fingers }, 120, inUse, true).learned;
          const own = fingers.map((f) => CURL_ROLES[f] as ChannelRole);
          for (const { role } of channels) expect(own).toContain(role);
          for (const role of CURL_ROLES) {
            if (own.includes(role)) continue;
            expect(missing).toContainEqual({ role, missing: 'motion', says: `${role}: did not move.` });
          }
          offered += channels.length;
        },
      ),
      { numRuns: 25 },
    );
    console.log(`two fingers that moved: ${offered} of 50 proposed`);
    expect(offered).toBeGreaterThan(0);
  });
});
