import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { sensorLines } from '../../src/commands/fit-lines.js';
import { trackedHand } from '../hand/tracked-hand.js';
import { run } from './cli.js';

let folder = '';
let profile = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-fit-'));
  profile = join(folder, 'glove.yaml');
  const simulated = readFileSync('config/simulated.yaml', 'utf8');
  writeFileSync(profile, `${simulated}\nstream: { port: 0 }\n`);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('fit', () => {
  it('--from-joints keeps bones beside the profile, and undoes them', async () => {
    const file = join(folder, 'hand.json');
    writeFileSync(file, JSON.stringify({ frames: [trackedHand(0.2)] }));
    const fit = await run('fit', '--profile', profile, '--person', 'Kim', '--from-joints', file);
    expect(fit.stderr).toBe('');
    expect(fit.stdout).toMatch(
      /^Bones fitted, \d\.\d mm rms off the joints given\.\n.*Kim +bones, .* in use\n$/,
    );
    const { entries } = JSON.parse(readFileSync(join(folder, 'glove.fits.json'), 'utf8'));
    expect(entries).toHaveLength(1);
    expect(Math.abs(entries[0].skeleton.lengthM - 0.2)).toBeLessThan(0.01);
    expect(entries[0].skeleton.rmsM).toBeLessThan(0.004);
    const undone = await run('fit', '--profile', profile, '--undo', '--json');
    expect(JSON.parse(undone.stdout).fits).toMatchObject([
      { person: 'Kim', kind: 'bones', undone: true, inUse: false },
    ]);
  }, 60_000);

  it.each([
    ['missing.json', undefined, 6, /missing\.json: no such file\. Check the path\./],
    ['text.json', 'hand', 6, /text\.json: it is not JSON/],
    ['half.json', '{"wrist":[0,0,0]}', 6, /half\.json: Joint thumb-metacarpal .* missing/],
    ['null.json', 'null', 6, /null\.json: Expected joint positions/],
  ])(
    'says what is wrong with %s',
    async (name, text, code, line) => {
      const file = join(folder, name);
      if (text !== undefined) writeFileSync(file, text);
      const outcome = await run('fit', '--profile', profile, '--from-joints', file);
      expect(outcome.stderr).toMatch(line);
      expect(outcome.stderr.split('\n')).toHaveLength(2);
      expect(outcome.code).toBe(code);
    },
    60_000,
  );

  it.each([
    [['--list', '--undo'], '--list and --undo do not go together. Give one of them.'],
    [['--actuators', '--use'], '--use and --actuators do not go together. Give one of them.'],
    [['--use'], '--use needs the name of a wearer. Give it with --person.'],
  ])('refuses %j before it asks anybody', async (args, line) => {
    const outcome = await run('fit', ...args);
    expect(outcome).toEqual({ code: 2, stdout: '', stderr: `tautline: ${line}\n` });
  });

  it('--use without a service would change nothing, and says so', async () => {
    const outcome = await run('fit', '--profile', profile, '--use', '--person', 'Kim');
    const remedy = `Start one with \`tautline run --profile ${profile} --person Kim\`.`;
    const line = `tautline: No service runs that has this glove. ${remedy}\n`;
    expect(outcome).toEqual({ code: 7, stdout: '', stderr: line });
  }, 60_000);

  it('without a profile and a service says what to do', async () => {
    const outcome = await run('fit', '--url', 'http://127.0.0.1:9');
    expect(outcome.code).toBe(7);
    expect(outcome.stderr).toMatch(/Name your glove with --profile, or start a service/);
  });
});

describe('what the command says of sensors that a fit of the mount found to be off', () => {
  it('is which, which way and how surely, in 80 columns', () => {
    const channel = { bits: 12, open: 0, closed: 1, poses: 1 };
    const lines = sensorLines({
      person: 'Kim',
      accepted: true,
      sensors: [
        { ...channel, role: 'index.curl', offDeg: 9.4, residualDeg: 3.6 },
        { ...channel, role: 'middle.splay', offDeg: -12.2, residualDeg: 4.1 },
      ],
    });
    expect(lines).toEqual([
      'By these touches, some sensors read wrong:',
      '  index.curl    bent 9 degrees more than it says (known to 4)',
      '  middle.splay  bent 12 degrees less than it says (known to 4)',
    ]);
    for (const line of lines) expect(line.length).toBeLessThanOrEqual(80);
  });
});
