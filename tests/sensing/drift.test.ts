import { describe, expect, it } from 'vitest';
import { createClosingProfile } from '../../src/hand/closing.js';
import { compileChannels } from '../../src/sensing/channels.js';
import { createDrift, type DriftOptions } from '../../src/sensing/drift.js';
import { createSensing } from '../../src/sensing/sensing.js';
import { CURL_ROLES, channel, feedTo, gaussian, gloveWith } from './glove-signals.js';

const RATE_HZ = 100;
const FOLLOWING: DriftOptions = { follow: true, rezeroGesture: false };
const GESTURES: DriftOptions = { follow: false, rezeroGesture: true };
const glove = gloveWith(CURL_ROLES.map((role) => channel(role, { open: 3500, closed: 500 })));
const channels = compileChannels(glove, CURL_ROLES, createClosingProfile());

/** Wears it for some seconds; `curl` says how closed the hand is, `slip` how far the readings have shifted. */
function wear(
  drift: ReturnType<typeof createDrift>,
  seconds: number,
  curl: (timeS: number, finger: number) => number,
  slip: (timeS: number) => number = () => 0,
): number[] {
  const noise = gaussian(2);
  const counts = new Uint16Array(5);
  for (let t = 0; t < seconds * RATE_HZ; t++) {
    const nowS = t / RATE_HZ;
    for (let f = 0; f < 5; f++) {
      counts[f] = Math.round(3500 - 3000 * (curl(nowS, f) + slip(nowS)) + 2 * noise());
    }
    drift.correct(counts, 1 / RATE_HZ);
  }
  return [...drift.shifts];
}

/** Open and closed every 4 s, nearly all the way. */
const using = (timeS: number, f: number) => 0.5 - 0.47 * Math.cos((2 * Math.PI * timeS) / 4 + 0.1 * f);

describe('drift', () => {
  it('follows a slow slip of a hand in use', () => {
    const shifts = wear(createDrift(channels, FOLLOWING), 180, using, (t) => (0.08 * t) / 180);
    for (const shift of shifts) expect(Math.abs(shift - 0.08)).toBeLessThan(0.02);
  });

  it('never goes farther than its bound, nor faster than it creeps', () => {
    const fast = wear(createDrift(channels, FOLLOWING), 10, using, () => 0.1);
    for (const shift of fast) expect(shift).toBeLessThan(0.045);
    const far = wear(createDrift(channels, FOLLOWING), 300, using, () => 0.3);
    for (const shift of far) expect(shift).toBeLessThanOrEqual(0.12);
  });

  it('leaves a hand alone that stays half closed, or only just opens', () => {
    for (const middle of [0.3, 0.5, 0.7]) {
      const shifts = wear(createDrift(channels, FOLLOWING), 120, (t) => middle + 0.2 * Math.sin(t));
      for (const shift of shifts) expect(shift).toBe(0);
    }
  });

  it('believes a reading beyond an end', () => {
    const shifts = wear(createDrift(channels, FOLLOWING), 120, (t) => -0.1 + 0.3 * (1 - Math.cos(t)));
    for (const shift of shifts) expect(shift).toBeLessThan(-0.07);
  });

  it('can be switched off', () => {
    const off = createDrift(channels, { follow: false, rezeroGesture: false });
    const counts = Uint16Array.of(1, 2, 3, 4, 5);
    expect(wear(off, 120, using, () => 0.1)).toEqual([0, 0, 0, 0, 0]);
    expect(off.correct(counts, 0.01)).toBe(counts);
  });

  it('takes a fist and then the open hand held still as open', () => {
    const gesture = (t: number) => (t < 1 ? 0.95 : t < 1.5 ? 0.95 - 1.9 * (t - 1) : 0);
    for (const shift of wear(createDrift(channels, GESTURES), 5, gesture, () => 0.1)) {
      expect(Math.abs(shift - 0.1)).toBeLessThan(0.01);
    }
    // An open hand without a fist before it is no gesture, nor is a fist.
    expect(wear(createDrift(channels, GESTURES), 8, () => 0.1)).toEqual([0, 0, 0, 0, 0]);
    expect(wear(createDrift(channels, GESTURES), 8, () => 0.95)).toEqual([0, 0, 0, 0, 0]);
  });

  it('rezeroes by message: the hand as it is counts as open', () => {
    const sensing = createSensing({ glove });
    const feed = feedTo(sensing, RATE_HZ);
    const open = new Array<number>(5).fill(3500 - 3000 * 0.15);
    for (let t = 0; t < 200; t++) feed.send(open);
    expect(sensing.curl[1]).toBeGreaterThan(0.14);
    sensing.rezero();
    for (let t = 0; t < 200; t++) feed.send(open);
    for (let f = 0; f < 5; f++) expect(Math.abs(sensing.curl[f])).toBeLessThan(0.01);
    // A closed hand cannot be called open.
    const fist = new Array<number>(5).fill(500);
    for (let t = 0; t < 200; t++) feed.send(fist);
    sensing.rezero();
    for (let t = 0; t < 200; t++) feed.send(fist);
    expect(sensing.curl[1]).toBeGreaterThan(0.6);
  });
});
