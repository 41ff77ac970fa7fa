import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { admitBuild, type Build, buildOf, mirrorBuild } from '../../src/config/build.js';
import { buildText } from '../../src/config/build-text.js';
import { parseProfile } from '../../src/config/load.js';
import type { ChannelProfile, Profile } from '../../src/config/schema.js';
import { createStringModel, travelFromCountsMm } from '../../src/sensing/string-model.js';

const EXAMPLES = ['five-curl', 'curl-splay-stick', 'joint-sensors', 'text-lines', 'bluetooth', 'simulated'];
const parsed = new Map(
  EXAMPLES.map((name) => [name, parseProfile(readFileSync(`config/${name}.yaml`, 'utf8'), name)]),
);
const example = (name: string): Profile => structuredClone(parsed.get(name)!);

const counts = fc.integer({ min: 0, max: 4095 });
/** Any part's figures put into an example: the roles are its own, so that every rule of a profile holds. */
const anyProfile: fc.Arbitrary<Profile> = fc
  .record({
    name: fc.constantFrom(...EXAMPLES),
    seeds: fc.array(
      fc.record({
        ends: fc.uniqueArray(counts, { minLength: 2, maxLength: 2 }),
        inverted: fc.boolean(),
        part: fc.double({ min: 0.05, max: 0.95, noNaN: true }),
        curve: fc.boolean(),
        pulses: fc.uniqueArray(fc.integer({ min: 400, max: 2600 }), { minLength: 2, maxLength: 2 }),
        slack: fc.double({ min: 0, max: 0.5, noNaN: true }),
      }),
      { minLength: 25, maxLength: 25 },
    ),
    buttons: fc.uniqueArray(fc.constantFrom('a', 'b', 'x', 'y', 'menu', 'disarm', 'arm'), { maxLength: 7 }),
    tension: fc.double({ min: 0.5, max: 50, noNaN: true }),
    hand: fc.constantFrom('left', 'right') as fc.Arbitrary<'left' | 'right'>,
  })
  .map(({ name, seeds, buttons, tension, hand }) => {
    const profile = example(name);
    const [glove] = profile.gloves;
    glove.hand = hand;
    glove.channels = glove.channels.map((channel, c): ChannelProfile => {
      const { ends, inverted, part, curve } = seeds[c];
      const [open, closed] = ends;
      const between = Math.round((open + (closed - open) * part) * 1000) / 1000;
      const kept = Object.fromEntries(
        Object.entries(channel).filter(([key]) => key !== 'centre' && key !== 'curve'),
      ) as unknown as ChannelProfile;
      return {
        ...kept,
        bits: 12,
        open,
        closed,
        inverted,
        ...(between !== open && between !== closed
          ? { centre: between, ...(curve ? { curve: [[between, 0.5]] as [number, number][] } : {}) }
          : {}),
      };
    });
    glove.actuators = glove.actuators.map((actuator, a) => ({
      ...actuator,
      slack: seeds[a].slack,
      ...(actuator.servoUs ? { servoUs: seeds[a].pulses as [number, number] } : {}),
    }));
    glove.buttons = Object.fromEntries(buttons.map((button, bit) => [button, bit]));
    profile.safety.maxTensionN = tension;
    return profile;
  });

const read = (build: Build): Build => {
  const { profile, name, gloves, safety } = parseProfile(buildText(build, ['A build.']), 'shared.yaml');
  return { profile, name, gloves, safety };
};

describe('a build', () => {
  it('is read from its file as it was written, and a build of it is the same again', () => {
    fc.assert(
      fc.property(anyProfile, (profile) => {
        const build = buildOf(profile);
        expect(read(build)).toEqual(build);
        expect(buildOf(build)).toEqual(build);
      }),
      { numRuns: 40 },
    );
  });

  it('is mirrored twice into itself, whichever way its sensors are mounted, and is a profile in between', () => {
    fc.assert(
      fc.property(anyProfile, fc.boolean(), (profile, sameReadings) => {
        const build = buildOf(profile);
        const other = mirrorBuild(build, { sameReadings });
        expect(other.gloves[0].hand).not.toBe(build.gloves[0].hand);
        expect(read(other)).toEqual(other);
        expect(mirrorBuild(other, { sameReadings })).toEqual(build);
      }),
      { numRuns: 40 },
    );
  });

  it.each(EXAMPLES)('leaves nothing of the wearer or of this computer in %s', (name) => {
    const profile = example(name);
    const [glove] = profile.gloves;
    glove.name = "Kim Doe's glove";
    profile.name = 'Prototype of KIM';
    glove.forearmMm = 251;
    if (glove.link.kind === 'serial') {
      glove.link.path = '/dev/serial/secret-port';
      glove.link.usb = { vendor: '1209', product: '0001', serial: 'secret-serial' };
    }
    if (glove.link.kind === 'ble') glove.link.name = 'glove of kim';
    if (glove.link.kind === 'ble') glove.link.address = '02:00:00:5e:c2:e7';
    profile.wearer = { name: 'Kim', handLengthMm: 176, handBreadthMm: 77 };
    profile.stream.token = 'secret-token-of-this-computer';
    profile.stream.origins = ['https://secret.example'];
    profile.stream.permissions.apps = [{ name: 'secret-app', may: ['arm'], token: 'secret-token-of-an-app' }];
    profile.openxr.allow = ['secret-program'];
    profile.safety.allowPull = true;
    const text = buildText(buildOf(profile, ['kim', 'Robin Doe']), []);
    expect(text).not.toMatch(/secret|5e:c2|kim|doe|176|77\b|251|wearer|stream|openxr|allowPull/i);
    if (glove.link.kind === 'serial') expect(text).toContain('vendor: "1209"');
  });
});

describe('a mirrored build', () => {
  it('turns the sensors the other way, inside the counts that were in use, with the same string travel', () => {
    const { gloves } = mirrorBuild(buildOf(example('five-curl')));
    const [, index] = gloves[0].channels;
    expect(index).toMatchObject({ role: 'index.curl', open: 3950, closed: 400 });
    // A potentiometer that turns back by as much as the other turned forth pays out the same string.
    const closing = (curl: number, angles: Float64Array) => angles.fill(curl);
    const model = createStringModel({ ...index.string!, heightsMm: index.string!.heightsMm! }, closing);
    const travel = Math.abs(travelFromCountsMm(index.closed - index.open, index.bits, index.string!));
    expect(model.fullTravelMm).toBeCloseTo(12 + 8 + 6, 9);
    expect(travel).toBeCloseTo(((3550 / 4095) * 270 * Math.PI * 10) / 180, 9);
  });

  it('keeps the order of the connectors, and a stick, a wrist sensor and wire stops as they are', () => {
    for (const name of EXAMPLES) {
      const [before] = buildOf(example(name)).gloves;
      const [after] = mirrorBuild(buildOf(example(name))).gloves;
      expect(after.channels.map(({ role }) => role)).toEqual(before.channels.map(({ role }) => role));
      expect(after.codec).toEqual(before.codec);
      for (const [c, channel] of before.channels.entries()) {
        if (/^(stick|wrist)\./.test(channel.role)) expect(after.channels[c]).toEqual(channel);
        else
          expect([after.channels[c].open, after.channels[c].closed]).toEqual([channel.closed, channel.open]);
      }
      for (const [a, { servoUs, ...rest }] of before.actuators.entries()) {
        expect(after.actuators[a]).toMatchObject(rest);
        if (servoUs) expect(after.actuators[a].servoUs).toEqual([servoUs[1], servoUs[0]]);
      }
    }
  });

  it('gives the other hand its buttons and its names', () => {
    const profile = example('curl-splay-stick');
    profile.gloves[0].name = 'My LEFT glove, left-handed; Leftover';
    const [after] = mirrorBuild(buildOf(profile)).gloves;
    expect(after.buttons).toEqual({ a: 0, b: 1, thumbstick: 2, menu: 3, disarm: 4 });
    expect(after.name).toBe('My RIGHT glove, right-handed; Leftover');
    expect(after).toMatchObject({ hand: 'right' });
    // Either name stands for the left hand's; the other hand has one only.
    profile.gloves[0].buttons = { a: 3 };
    expect(mirrorBuild(buildOf(profile)).gloves[0].buttons).toEqual({ a: 3 });
  });
});

describe('a build that comes from somebody else', () => {
  it('loosens no limit', () => {
    fc.assert(
      fc.property(anyProfile, fc.double({ min: 0.5, max: 100, noNaN: true }), (profile, rate) => {
        profile.safety = {
          ...profile.safety,
          maxStopRatePerS: rate,
          allowPull: true,
          maxTtlMs: 1000,
          defaultTtlMs: 900,
        };
        const { build, heldBack } = admitBuild(buildOf(profile));
        expect(build.safety.maxTensionN).toBeLessThanOrEqual(8);
        expect(build.safety.maxStopRatePerS).toBeLessThanOrEqual(10);
        expect(build.safety).toMatchObject({ allowPull: false, defaultTtlMs: 250 });
        expect(heldBack.length).toBe(Number(profile.safety.maxTensionN > 8) + Number(rate > 10));
      }),
    );
  });
});
