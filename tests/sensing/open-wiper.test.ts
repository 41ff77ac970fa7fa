import { describe, expect, it } from 'vitest';
import { createClosingProfile } from '../../src/hand/closing.js';
import { compileChannels } from '../../src/sensing/channels.js';
import { createHealth } from '../../src/sensing/health/health.js';
import { REMEDY } from '../../src/sensing/health/verdicts.js';
import { CURL_ROLES, channel, gaussian, gloveWith, random } from './glove-signals.js';
import { MOTIONS, notBelieved } from './natural-motions.js';

/*
 * A capacitor that discharges through a resistor falls as e^(-t/RC): any handbook of circuits. 100 nF as in
 * docs/wiring.md; parts are 5 % and 20 % off at most.
 */

const FARADS = 100e-9;

interface Break {
  ohms: number;
  /** Of resistor and capacitor together, part of RC. */
  tolerance?: number;
  /** Where it ends, part of full scale: charge of the input before, leakage; below 0 for a converter that flattens. */
  end?: number;
  rateHz?: number;
  noiseCounts?: number;
  bits?: number;
  falling?: boolean;
}

/** Times after the break, s, at curls and phases at chance: no longer believed, and named `railed`. */
function breaks(options: Break, times = 40): { doubtedS: number; namedS: number } {
  const {
    ohms,
    tolerance = 0,
    end = 0,
    rateHz = 250,
    noiseCounts = 1.5,
    bits = 12,
    falling = false,
  } = options;
  const tauS = ohms * FARADS * (1 + tolerance);
  const next = random(7);
  const full = 2 ** bits - 1;
  const unit = 2 ** (bits - 12);
  const latest = { doubtedS: 0, namedS: 0 };
  for (let trial = 0; trial < times; trial++) {
    const low = (300 + 300 * next()) * unit;
    const high = (3000 + 700 * next()) * unit;
    const [open, closed] = falling ? [high, low] : [low, high];
    const profiles = CURL_ROLES.map((role) => channel(role, { open, closed, bits }));
    const health = createHealth(compileChannels(gloveWith(profiles), CURL_ROLES, createClosingProfile()));
    const noise = gaussian(trial + 1);
    const curl = next();
    const phase = next();
    const counts = new Uint16Array(5);
    let doubtedS = Number.POSITIVE_INFINITY;
    let namedS = Number.POSITIVE_INFINITY;
    const before = Math.round(1.5 * rateHz);
    for (let n = 0; n < before + rateHz && namedS === Number.POSITIVE_INFINITY; n++) {
      const t = (n - before + phase) / rateHz;
      for (let f = 0; f < 5; f++) {
        let y = open + (closed - open) * (curl + 0.003 * Math.sin((5 * n) / rateHz));
        if (f === 1 && t >= 0) y = end * full + (y - end * full) * Math.exp(-t / tauS);
        counts[f] = Math.max(0, Math.min(full, Math.round(y + noiseCounts * unit * noise())));
      }
      health.update(counts, n === 0 ? 0 : 1 / rateHz);
      if (t < 0) continue;
      if (health.unusable[1] !== 0) doubtedS = Math.min(doubtedS, t);
      if (health.verdicts[1].kind === 'railed') namedS = t;
      expect([0, 2, 3, 4].map((f) => health.unusable[f])).toEqual([0, 0, 0, 0]);
    }
    latest.doubtedS = Math.max(latest.doubtedS, doubtedS);
    latest.namedS = Math.max(latest.namedS, namedS);
  }
  return latest;
}

describe('an open wiper with the pull-down of the wiring page', () => {
  it.each<Break>([
    { ohms: 470e3 },
    { ohms: 470e3, tolerance: 0.25 },
    { ohms: 470e3, tolerance: -0.25 },
    { ohms: 470e3, end: 0.008 },
    { ohms: 470e3, end: -0.025 },
    { ohms: 470e3, bits: 10, noiseCounts: 0.4 },
    { ohms: 470e3, rateHz: 200 },
    { ohms: 470e3, rateHz: 500 },
    { ohms: 470e3, rateHz: 1000, noiseCounts: 1 },
    { ohms: 470e3, noiseCounts: 4 },
    { ohms: 470e3, falling: true },
  ])('is not believed within 75 ms, and named within 250 ms: %o', (options) => {
    const { doubtedS, namedS } = breaks(options);
    expect(doubtedS).toBeLessThan(0.075);
    expect(namedS).toBeLessThan(0.25);
  });

  it('of 220 kΩ is not believed within 40 ms: its first steps are those of a loose contact', () => {
    expect(breaks({ ohms: 220e3 }).doubtedS).toBeLessThan(0.04);
  });

  it('at 100 samples a second, within 120 ms', () => {
    const { doubtedS, namedS } = breaks({ ohms: 470e3, rateHz: 100 });
    expect(doubtedS).toBeLessThan(0.12);
    expect(namedS).toBeLessThan(0.25);
  });

  it('of 1 MΩ takes twice as long', () => {
    const { doubtedS, namedS } = breaks({ ohms: 1e6, end: 0.0167 });
    expect(doubtedS).toBeLessThan(0.12);
    expect(namedS).toBeLessThan(0.4);
  });

  it('is believed again once it was well for a while, and no earlier', () => {
    const profiles = CURL_ROLES.map((role) => channel(role));
    const health = createHealth(compileChannels(gloveWith(profiles), CURL_ROLES, createClosingProfile()));
    const noise = gaussian(3);
    const counts = new Uint16Array(5);
    let believedS = Number.POSITIVE_INFINITY;
    for (let n = 0; n < 8 * 250; n++) {
      const t = n / 250 - 2;
      for (let f = 0; f < 5; f++) {
        const y = 2000 * (f === 1 && t > 0 && t < 2 ? Math.exp(-t / 0.047) : 1);
        counts[f] = Math.max(0, Math.round(y + noise()));
      }
      health.update(counts, n === 0 ? 0 : 1 / 250);
      if (t > 0.1 && t < 2) expect(health.unusable[1]).toBe(1);
      if (t > 2 && health.unusable[1] === 0) believedS = Math.min(believedS, t - 2);
    }
    expect(believedS).toBeGreaterThan(0.5);
    expect(believedS).toBeLessThan(2.6);
    expect(health.verdicts[1].kind).toBe('healthy');
  });

  it('is told what to mend: the wiper first', () => {
    expect(REMEDY.railed).toMatch(/at 0 .*wiper/i);
  });
});

describe('hands in a hurry', () => {
  // Longer: scripts/natural.ts.
  for (const [name, motion] of Object.entries(MOTIONS)) {
    it(`are believed: ${name}`, () => {
      for (const sampling of [
        { rateHz: 100, noiseCounts: 1.5, bits: 12 },
        { rateHz: 250, noiseCounts: 1.5, bits: 12 },
        { rateHz: 250, noiseCounts: 1.5, bits: 10 },
        { rateHz: 500, noiseCounts: 4, bits: 12 },
      ]) {
        expect(notBelieved(motion, sampling, 100, 1), JSON.stringify(sampling)).toEqual([]);
      }
    });
  }
});
