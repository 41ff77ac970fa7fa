import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it, vi } from 'vitest';
import { run } from './cli.js';

/** Sharing a build, each command a process of its own. */

vi.setConfig({ testTimeout: 120_000 });

const folder = mkdtempSync(join(tmpdir(), 'tautline-build-'));
const at = (name: string) => join(folder, name);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const OWN = `profile: 1
name: Five strings of Kim
gloves:
  - name: Right
    hand: right
    link: { kind: serial, path: /dev/ttyUSB7 }
    channels:
      - { role: index.curl, open: 400, closed: 3950, string: { spoolRadiusMm: 10, heightsMm: [12, 8, 6] } } # Kim's index
    actuators:
      - { role: index }
    buttons: { a: 0, disarm: 1 }
wearer: { handLengthMm: 176 }
safety: { maxTensionN: 12 }
`;

describe('a build is shared', () => {
  it('goes out without its wearer, comes in elsewhere, and for the other hand', async () => {
    writeFileSync(at('own.yaml'), OWN);
    const fit = {
      savedAt: '2026-01-02T03:04:05Z',
      person: 'Kim',
      glove: 'Right',
      hand: 'right',
      channels: [],
    };
    writeFileSync(at('own.fits.json'), JSON.stringify({ fits: 1, entries: [fit] }));
    const out = await run('build', 'export', at('shared.yaml'), '--profile', at('own.yaml'));
    expect(out.stderr).toBe('');
    expect(out.code).toBe(0);
    expect(out.stdout).toContain('written. Right glove: 1 sensor, 1 actuator, 2 buttons.');
    expect(out.stdout).toContain(`Names that hold a person's were replaced: "Five strings of Kim".`);
    const shared = readFileSync(at('shared.yaml'), 'utf8');
    expect(shared).not.toMatch(/kim|ttyUSB7|176/i);

    const into = await run(
      'build',
      'import',
      at('shared.yaml'),
      at('left.yaml'),
      '--mirrored',
      '--port',
      'COM3',
    );
    expect(into.code).toBe(0);
    expect(into.stdout).toContain(
      '! safety.maxTensionN is 12 in it (N a string), and 8 here: no file loosens a',
    );
    expect(into.stdout).toContain('! Set HAND to hand::left in pins.h');
    const left = readFileSync(at('left.yaml'), 'utf8');
    expect(left).toMatch(
      /hand: left\n {4}link:\n {6}kind: serial\n {6}baud: 115200\n {6}silentMs: 1000\n {6}path: COM3/,
    );
    expect(left).toContain('open: 3950, closed: 400');
    expect(left).not.toContain('maxTensionN');

    const again = await run('build', 'import', at('shared.yaml'), at('left.yaml'));
    expect(again.code).toBe(6);
    expect(again.stderr).toBe(
      `tautline: ${at('left.yaml')}: it is there already. Name another file; nothing is overwritten.\n`,
    );
    expect(readFileSync(at('left.yaml'), 'utf8')).toBe(left);
  });

  it('says in words what differs, and that nothing does', async () => {
    writeFileSync(at('own.yaml'), OWN);
    writeFileSync(
      at('higher.yaml'),
      OWN.replace('[12, 8, 6]', '[16, 12, 10]').replace('hand: right', 'hand: left'),
    );
    const found = await run('build', 'compare', at('own.yaml'), at('higher.yaml'));
    expect(found.code).toBe(0);
    expect(found.stdout.replace(/\s+/g, ' ')).toBe(
      "own.yaml (right) and higher.yaml (left), as mirror images: - The left glove's index string passes 4 mm higher over every joint (16, 12, 10 mm, not 12, 8, 6). ",
    );
    const same = await run('build', 'compare', at('own.yaml'), at('own.yaml'), '--json');
    expect(JSON.parse(same.stdout)).toMatchObject([{ sentences: [] }]);
  });

  it.each<[string, string[], number, RegExp]>([
    ['no such file', ['import', 'nowhere.yaml', 'x.yaml'], 3, /^tautline: nowhere\.yaml: no such file\./],
    ['something else', ['import', 'package.json', 'x.yaml'], 3, /^tautline: package\.json:\d+:\d+: /],
    [
      'a hand that is not there',
      ['export', 'x.yaml', '--profile', 'config/five-curl.yaml', '--hand', 'left'],
      2,
      /has no left glove\. It has: right\./,
    ],
    ['half a wish', ['import', 'config/five-curl.yaml', 'x.yaml', '--same-readings'], 2, /Add --mirrored\./],
    ['one glove alone', ['compare', 'config/five-curl.yaml'], 2, /has one glove\. Name a second profile/],
    [
      'a port of no serial glove',
      ['import', 'config/bluetooth.yaml', 'x.yaml', '--port', 'COM3'],
      2,
      /gloves\[0\] has no serial port\. Leave out --port\./,
    ],
  ])('refuses %s in one line', async (_, args, code, line) => {
    const outcome = await run('build', ...args);
    expect(outcome.code).toBe(code);
    expect(outcome.stdout).toBe('');
    expect(outcome.stderr).toMatch(line);
    expect(outcome.stderr.trimEnd().split('\n').length).toBeLessThanOrEqual(_ === 'something else' ? 11 : 1);
  });
});
