import { describe, expect, it } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { INFERRED, INVALID, TRACKED } from '../../src/hand/validity.js';
import { createSensing } from '../../src/sensing/sensing.js';
import { CURL_ROLES, channel, feedTo, gaussian, gloveWith, SPLAY_ROLES } from './glove-signals.js';

const DEG = Math.PI / 180;
const curls = CURL_ROLES.map((role) => channel(role));
const countsAt = (value: number) => Math.round(500 + 3000 * value);

describe('sensing', () => {
  it('knows nothing before the first sample', () => {
    const sensing = createSensing({ glove: gloveWith(curls) });
    expect([...sensing.fingerStates]).toEqual(new Array(5).fill(INVALID));
  });

  it('turns curl channels into an open hand, a fist and back', () => {
    const sensing = createSensing({ glove: gloveWith(curls) });
    const feed = feedTo(sensing, 500);
    for (let i = 0; i < 500; i++) feed.send(new Array(5).fill(500));
    expect([...sensing.curl].every((c) => Math.abs(c) < 1e-6)).toBe(true);
    expect(sensing.dofs[4]).toBeCloseTo(0, 6);
    for (let i = 0; i < 1000; i++) feed.send(new Array(5).fill(countsAt(Math.min(1, i / 100))));
    expect([...sensing.fingerStates]).toEqual(new Array(5).fill(TRACKED));
    for (const c of sensing.curl) expect(c).toBeCloseTo(1, 3);
    expect(sensing.dofs[4] / DEG).toBeCloseTo(90, 0);
    expect(sensing.dofs[6] / DEG).toBeCloseTo(100, 0);
    expect(sensing.dofs[7] / DEG).toBeCloseTo(66.7, 0);
    expect(Math.abs(sensing.dofRates[4])).toBeLessThan(0.01);
  });

  it('gives rates that agree with the motion', () => {
    const sensing = createSensing({ glove: gloveWith(curls) });
    const feed = feedTo(sensing, 500);
    let integral = 0;
    let fastest = 0;
    const noise = gaussian(3);
    for (let i = 0; i < 1000; i++) {
      const c = 0.5 - 0.5 * Math.cos(2 * Math.PI * feed.now);
      feed.send(CURL_ROLES.map(() => Math.round(countsAt(c) + noise())));
      if (i === 250) integral = sensing.dofs[4];
      if (i > 250 && i <= 600) integral += sensing.dofRates[4] / 500;
      // The rates lag by 1 / (2 pi 15 Hz) = 11 ms, at 270 deg/s.
      if (i === 600) expect(Math.abs(integral - sensing.dofs[4])).toBeLessThan(3.5 * DEG);
      fastest = Math.max(fastest, sensing.dofRates[4]);
    }
    // 90 degrees in a raised cosine of 1 Hz: at most pi x 90 deg/s.
    expect(fastest / DEG).toBeGreaterThan(260);
    expect(fastest / DEG).toBeLessThan(330);
  });

  it('matches channels by role, whatever the order and whatever else is sent', () => {
    const sensing = createSensing({
      glove: gloveWith(curls),
      channelRoles: ['little.curl', 'spare', 'trigger', 'index.curl', 'thumb.curl', 'middle.curl'],
    });
    const feed = feedTo(sensing, 500);
    for (let i = 0; i < 400; i++) feed.send([3500, 7, 9, 1250, 500, 2000]);
    expect(sensing.curl[4]).toBeCloseTo(1, 3);
    expect(sensing.curl[1]).toBeCloseTo(0.25, 3);
    expect(sensing.curl[0]).toBeCloseTo(0, 3);
    expect(sensing.curl[2]).toBeCloseTo(0.5, 3);
    expect(sensing.fingerStates[3]).toBe(INFERRED);
    expect(sensing.health.verdicts[3].kind).toBe('missing');
    // Between its neighbours.
    expect(sensing.curl[3]).toBeGreaterThan(0.5);
    expect(sensing.curl[3]).toBeLessThan(1);
  });

  it('infers every finger of a glove that has none', () => {
    const sensing = createSensing({ glove: gloveWith([channel('trigger')]) });
    feedTo(sensing, 100).send([500]);
    expect([...sensing.fingerStates]).toEqual(new Array(5).fill(INFERRED));
    expect([...sensing.curl].every((c) => c > 0.1 && c < 0.35)).toBe(true);
  });

  it('spreads by splay channels, less the more the finger is bent', () => {
    const glove = gloveWith([...curls, ...SPLAY_ROLES.map((role) => channel(role, { centre: 1500 }))]);
    const sensing = createSensing({ glove });
    const feed = feedTo(sensing, 500);
    const at = [0, 1500];
    const send = (curl: number, splayCounts: number) => {
      const from = [...at];
      for (let i = 1; i <= 1000; i++) {
        const t = Math.min(1, i / 100);
        at[0] = from[0] + t * (curl - from[0]);
        at[1] = from[1] + t * (splayCounts - from[1]);
        feed.send([...new Array(5).fill(countsAt(at[0])), ...new Array(5).fill(Math.round(at[1]))]);
      }
    };
    send(0, 1500);
    expect(sensing.dofs[5]).toBeCloseTo(0, 6);
    send(0, 3500);
    expect(sensing.dofs[5] / DEG).toBeCloseTo(15, 1);
    expect(sensing.dofs[17] / DEG).toBeCloseTo(15, 1);
    expect(sensing.splay[1]).toBeCloseTo(1, 3);
    send(1, 3500);
    expect(Math.abs(sensing.dofs[5])).toBeLessThan(0.2 * DEG);
  });

  it('takes a sensor per joint over its range of motion and couples what is not sensed', () => {
    const glove = gloveWith([
      channel('index.mcp'),
      channel('index.pip'),
      channel('middle.mcp'),
      channel('middle.pip'),
      channel('middle.dip'),
      channel('thumb.cmc'),
      channel('thumb.mcp'),
      channel('thumb.ip'),
    ]);
    const sensing = createSensing({ glove });
    const feed = feedTo(sensing, 250);
    for (let i = 0; i < 300; i++) feed.send([0.5, 0.3, 0.2, 0.4, 0.9, 0, 1, 0.5].map(countsAt));
    const dofs = [...sensing.dofs].map((angle) => angle / DEG);
    expect(dofs[4]).toBeCloseTo(45, 2);
    expect(dofs[6]).toBeCloseTo(30, 2);
    expect(dofs[7]).toBeCloseTo(20, 2);
    expect(dofs[8]).toBeCloseTo(18, 2);
    expect(dofs[10]).toBeCloseTo(40, 2);
    expect(dofs[11]).toBeCloseTo(81, 2);
    expect(dofs[0]).toBeCloseTo(-20, 2);
    expect(dofs[2]).toBeCloseTo(50, 2);
    expect(dofs[3]).toBeCloseTo(40, 2);
    expect(sensing.fingerStates[FINGERS.indexOf('ring')]).toBe(INFERRED);
    expect(sensing.fingerStates[1]).toBe(TRACKED);
  });

  describe('device time', () => {
    const at = (sensing: ReturnType<typeof createSensing>, deviceTimeUs: number, counts: number) => {
      const channels = new Uint16Array(32).fill(counts, 0, 5);
      sensing.update(
        { seq: 0, deviceTimeUs: deviceTimeUs >>> 0, buttons: 0, channelCount: 5, channels },
        deviceTimeUs,
      );
    };
    /** A steady closing, sampled at given device times. */
    const ramp = (times: number[]) => {
      const sensing = createSensing({ glove: gloveWith(curls) });
      const curl: number[] = [];
      for (const [k, time] of times.entries()) {
        at(sensing, time, 500 + 10 * k);
        curl.push(sensing.curl[1]);
      }
      return { sensing, curl };
    };
    const even = Array.from({ length: 200 }, (_, k) => k * 4000);

    it('runs on through the wrap of the 32-bit clock', () => {
      const plain = ramp(even);
      const wrapped = ramp(even.map((t) => t + 2 ** 32 - 400_000));
      expect(wrapped.curl).toEqual(plain.curl);
    });

    it('keeps its pace when the clock stands still or goes back', () => {
      const plain = ramp(even);
      const restarted = ramp(even.map((t, k) => (k < 100 ? t + 9_000_000 : t - 390_000)));
      expect(restarted.curl).toEqual(plain.curl);
      expect(ramp(even.map((t, k) => (k === 50 ? t - 4000 : t))).curl[60]).toBeCloseTo(plain.curl[60], 2);
    });

    it('starts afresh after a gap, without a burst of speed', () => {
      const { sensing } = ramp(even);
      at(sensing, even[199] + 2_000_000, 3400);
      expect(sensing.curl[1]).toBeCloseTo(2900 / 3000, 5);
      expect([...sensing.dofRates].every((rate) => rate === 0)).toBe(true);
      expect(sensing.health.verdicts.every((verdict) => verdict.kind === 'healthy')).toBe(true);
    });

    it('is invalid after a reset until the next sample', () => {
      const { sensing } = ramp(even);
      sensing.reset();
      expect([...sensing.fingerStates]).toEqual(new Array(5).fill(INVALID));
      at(sensing, 7, 1000);
      expect([...sensing.fingerStates]).toEqual(new Array(5).fill(TRACKED));
    });
  });

  it('gives a unit wrist quaternion, whichever of its two signs the sensor sends', () => {
    const roles = ['wrist.qx', 'wrist.qy', 'wrist.qz', 'wrist.qw'] as const;
    const glove = gloveWith(roles.map((role) => channel(role, { open: 0, closed: 65535, bits: 16 })));
    const sensing = createSensing({ glove });
    const feed = feedTo(sensing, 200);
    const previous = [0, 0, 0, 1];
    for (let k = 0; k < 400; k++) {
      const half = k * 0.005;
      const sign = k % 3 === 0 ? -1 : 1;
      feed.send([0, Math.sin(half), 0, Math.cos(half)].map((q) => Math.round((sign * q + 1) * 32767.5)));
      const [x, y, z, w] = sensing.wrist;
      expect(Math.hypot(x, y, z, w)).toBeCloseTo(1, 12);
      const dot = x * previous[0] + y * previous[1] + z * previous[2] + w * previous[3];
      expect(dot).toBeGreaterThan(0.999);
      previous.splice(0, 4, x, y, z, w);
    }
    // 2 rad of half angle, less the lag of the filter.
    expect(2 * Math.atan2(sensing.wrist[1], sensing.wrist[3])).toBeGreaterThan(3.7);
  });

  it('says how far a servo has to pay out for a curl: by the string model where there is one', () => {
    const string = {
      spoolRadiusMm: 9,
      electricalTravelDeg: 270,
      heightsMm: [14, 5, 2] as [number, number, number],
    };
    const sensing = createSensing({
      glove: gloveWith([channel('index.curl', { string }), channel('middle.curl')]),
    });
    expect(sensing.stopFraction(2, 0.3)).toBe(0.3);
    expect(sensing.stopFraction(1, 0)).toBeCloseTo(0, 12);
    expect(sensing.stopFraction(1, 1)).toBeCloseTo(1, 12);
    expect(sensing.stopFraction(1, 0.5)).not.toBeCloseTo(0.5, 3);
  });
});
