import { describe, expect, it } from 'vitest';
import type { ChannelProfile } from '../../src/config/schema.js';
import { findSensorOffsets, type SensorOffset } from '../../src/guide/sensor-offset.js';
import { fitMount } from '../../src/hand/fit-mount.js';
import { createClosingProfile, curlOf, DOF_COUNT, FINGERS, setCurl } from '../../src/hand/index.js';
import type { MountSample } from '../../src/hand/mount-model.js';
import type { ChannelRole } from '../../src/protocol/link-table.js';
import { compileChannels } from '../../src/sensing/channels.js';
import { look } from '../../src/sensing/lookup.js';
import { createMountWearer, touchErrorM } from '../hand/mount-wearer.js';

const closing = createClosingProfile();
const channelsOf = (...roles: ChannelRole[]) =>
  compileChannels(
    {
      channels: roles.map(
        (role) => ({ role, bits: 12, open: 600, closed: 3400, inverted: false }) as ChannelProfile,
      ),
    },
    roles,
    closing,
  );
const CURLS = channelsOf(...FINGERS.map((finger) => `${finger}.curl` as const));
const SEEDS = Array.from({ length: 8 }, (_, i) => i + 1);

/** A wearer whose sensors of whole fingers say too little by so much of their range. */
function wearerWith(seed: number, off: readonly number[]) {
  const wearer = createMountWearer({
    seed,
    jointBiasDeg: 1,
    bonePart: 0.02,
    side: seed % 2 ? 'left' : 'right',
  });
  const bent = new Float64Array(DOF_COUNT);
  for (const { dofs } of wearer.samples) {
    for (const [finger, by] of off.entries()) {
      if (by === 0) continue;
      // The truth less what the sensor misses, along the closing path.
      const first = 4 * finger;
      const curl = curlOf(closing, finger, dofs);
      setCurl(closing, finger, curl, bent);
      const there = bent.slice(first, first + 4);
      setCurl(closing, finger, curl - by, bent);
      for (let i = 0; i < 4; i++) dofs[first + i] += bent[first + i] - there[i];
    }
  }
  return wearer;
}

/** What the glove says once its sensors are corrected. */
function correctedBy(offsets: readonly SensorOffset[], samples: readonly MountSample[]): MountSample[] {
  const [was, is] = [new Float64Array(DOF_COUNT), new Float64Array(DOF_COUNT)];
  return samples.map((sample) => {
    const dofs = Float64Array.from(sample.dofs);
    for (const { role, open } of offsets) {
      const finger = FINGERS.findIndex((name) => role.startsWith(name));
      const curl = curlOf(closing, finger, sample.dofs);
      setCurl(closing, finger, curl, was);
      setCurl(closing, finger, curl + (600 - open) / 2800, is);
      for (let i = 4 * finger; i < 4 * finger + 4; i++) dofs[i] += is[i] - was[i];
    }
    return { ...sample, dofs };
  });
}

describe('sensors that a fit of the mount shows to be off', () => {
  it('are those that are off, the way that they are, and put right they bring the fingertips nearer', () => {
    const off = [0, 0.09, 0, -0.09, 0];
    let [found, before, after] = [0, 0, 0];
    for (const seed of SEEDS) {
      const wearer = wearerWith(seed, off);
      const outcome = fitMount(wearer.believed, wearer.samples);
      if ('fault' in outcome) continue;
      const offsets = findSensorOffsets(outcome.fitted, wearer.samples, CURLS, closing);
      for (const { role, open, closed, offDeg } of offsets) {
        const finger = FINGERS.findIndex((name) => role.startsWith(name));
        expect(off[finger], `${role}, seed ${seed}`).not.toBe(0);
        expect(Math.sign(offDeg)).toBe(Math.sign(off[finger]));
        // A shift, and a shift alone.
        expect(closed - open).toBe(2800);
        expect((600 - open) / 2800 / off[finger]).toBeGreaterThan(0.3);
        expect((600 - open) / 2800 / off[finger]).toBeLessThan(1.5);
        found++;
      }
      const corrected = correctedBy(offsets, wearer.samples);
      const { mount } = outcome.fitted;
      before += touchErrorM(wearer, mount) / SEEDS.length;
      after += touchErrorM({ ...wearer, samples: corrected }, mount) / SEEDS.length;
    }
    if (process.env.TAUTLINE_FIGURES) console.log({ found, before, after });
    expect(found).toBeGreaterThan(SEEDS.length);
    expect(after).toBeLessThan(0.8 * before);
  }, 60_000);

  it('are none where none is off, nor where each joint is off by itself by 3 degrees', () => {
    for (const [seed, jointBiasDeg] of [1, 2, 3, 4, 5, 6].flatMap((n) => [
      [n, 1],
      [100 + n, 3],
    ])) {
      const wearer = createMountWearer({ seed, jointBiasDeg });
      const outcome = fitMount(wearer.believed, wearer.samples);
      if ('fault' in outcome) continue;
      expect(findSensorOffsets(outcome.fitted, wearer.samples, CURLS, closing)).toEqual([]);
    }
  }, 60_000);

  const sure = (dof: number, radians: number) => ({
    mount: [0, 0, 0, 0, 0, 0, 1],
    by: 'touch' as const,
    rotationDeg: 1,
    translationM: 0.002,
    residualM: 0.001,
    slipped: 0,
    jointBias: Array.from({ length: DOF_COUNT }, (_, i) => (i === dof ? radians : 0)),
    jointCovariance: Array.from({ length: 80 }, (_, i) => ((i % 16) % 5 === 0 ? 1e-4 : 0)),
  });
  const sample = (finger: number) => ({
    finger,
    tracker: [0, 0, 0, 0, 0, 0, 1],
    dofs: new Float64Array(DOF_COUNT).fill(0.5),
  });

  it('that bend one joint are shifted by the angle of that joint', () => {
    const channels = channelsOf('index.curl', 'index.pip', 'thumb.curl');
    const [only, ...more] = findSensorOffsets(sure(6, 0.2), [sample(1), sample(0)], channels, closing);
    expect(more).toEqual([]);
    expect(only).toMatchObject({ role: 'index.pip', offDeg: expect.closeTo((0.2 * 180) / Math.PI, 6) });
    const [, before] = channels;
    const [now] = compileChannels(
      { channels: [{ ...before.profile, open: only.open, closed: only.closed }] },
      ['index.pip'],
      closing,
    );
    const range = (look(now.lookup, 2000) - look(before.lookup, 2000)) * ((100 * Math.PI) / 180);
    // 100 degrees: the sensed range of the PIP joint, docs/hand.md.
    expect(range).toBeCloseTo(0.2, 2);
  });

  it('are left alone where the shift leaves the converter, is too large to be one, or is not sure', () => {
    const narrow = compileChannels(
      {
        channels: [
          { role: 'index.pip', bits: 12, open: 20, closed: 3000, inverted: false } as ChannelProfile,
        ],
      },
      ['index.pip'],
      closing,
    );
    expect(findSensorOffsets(sure(6, 0.2), [sample(1)], narrow, closing)).toEqual([]);
    expect(findSensorOffsets(sure(6, 1), [sample(1)], channelsOf('index.pip'), closing)).toEqual([]);
    const unsure = { ...sure(6, 0.2), jointCovariance: Array.from({ length: 80 }, () => 0.02) };
    expect(findSensorOffsets(unsure, [sample(1)], channelsOf('index.pip'), closing)).toEqual([]);
    const { jointBias: _, ...motion } = sure(6, 0.2);
    expect(findSensorOffsets(motion, [sample(1)], channelsOf('index.pip'), closing)).toEqual([]);
  });
});
