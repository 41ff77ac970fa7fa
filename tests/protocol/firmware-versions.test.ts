import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import {
  FIRMWARE_VERSION,
  FIRMWARE_VERSIONS,
  firmwareLine,
  firmwareReport,
  firmwareText,
} from '../../src/protocol/firmware-versions.js';
import { HELLO, heardBy } from '../glove/glove-on-link.js';

describe('versions of the firmware', () => {
  it('rise, each with what it brought', () => {
    for (const [i, { version, brings }] of FIRMWARE_VERSIONS.entries()) {
      if (i > 0) expect(version).toBeGreaterThan(FIRMWARE_VERSIONS[i - 1].version);
      expect(brings.length).toBeGreaterThan(0);
      for (const one of brings) expect(one).toMatch(/^[A-Z].*\.$/);
    }
  });

  it('are what every board says, from the one table', () => {
    const newest = `kFirmwareVersion = 0x${FIRMWARE_VERSION.toString(16).padStart(4, '0')};`;
    expect(readFileSync('src/firmware/core/protocol_table.h', 'utf8')).toContain(newest);
    for (const board of ['avr/main.cpp', 'esp32/tautline_glove/tautline_glove.ino']) {
      expect(readFileSync(`src/firmware/${board}`, 'utf8')).toContain(
        'board.firmwareVersion = kFirmwareVersion;',
      );
    }
  });
});

it('are in the guide, each with a row', () => {
  const guide = readFileSync('docs/firmware.md', 'utf8');
  for (const { version } of FIRMWARE_VERSIONS) expect(guide).toContain(`\n| ${firmwareText(version)} | `);
});

describe('what an update brings', () => {
  it('is said of an old one alone', () => {
    expect(firmwareReport(0x0100)).toMatchObject({
      state: 'old',
      version: '1.0',
      brings: expect.arrayContaining([
        expect.stringContaining('frees the fingers when its own program hangs'),
      ]),
    });
    expect(firmwareReport(0x0100).brings).not.toContain('The first.');
    expect(firmwareReport(FIRMWARE_VERSION)).toMatchObject({ state: 'current', brings: [] });
  });

  it.each<[string, number | undefined, string, RegExp]>([
    ['lines of text, and an old hello', 0, 'unsaid', /does not say which firmware it runs/],
    ['nothing yet', undefined, 'unsaid', /does not say/],
    ["a maker's own", 0x0001, 'own', /runs firmware 0\.1, which is none of ours/],
    ['one from later', FIRMWARE_VERSION + 1, 'newer', /update the program, unless/],
    ['another major', 0x0900, 'newer', /runs firmware 9\.0/],
  ])('is not guessed for %s', (_, said, state, line) => {
    const report = firmwareReport(said);
    expect(report).toMatchObject({ state, brings: [] });
    expect(firmwareLine(report)).toMatch(line);
    expect(firmwareLine(report)).toContain(
      state === 'own' ? 'its maker knows' : firmwareText(FIRMWARE_VERSION),
    );
  });
});

it('changes nothing else in a hello: a program of before reads the new board, and this one the old', () => {
  const hello = (firmwareVersion: number) =>
    heardBy({})
      .hello({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators], firmwareVersion })
      .slice();
  const [old, fresh] = [hello(0x0102), hello(0x0203)];
  expect(fresh.length).toBe(old.length);
  const differing = [...old.keys()].filter((at) => old[at] !== fresh[at]);
  // Two bytes of the version, and the check sum behind everything.
  expect(differing.length).toBeLessThanOrEqual(4);
  expect(differing.slice(0, 2)).toEqual([13, 14]);
});
