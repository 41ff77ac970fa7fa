import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { loadProfile, parseProfile } from '../../src/config/load.js';
import { TautlineError } from '../../src/errors.js';

const CONFIG = new URL('../../config/', import.meta.url).pathname;

/** The smallest profile: everything else has a default. */
const SMALLEST = `profile: 1
gloves:
  - name: Test glove
    hand: right
    link: { kind: simulated }
    channels:
      - { role: index.curl, open: 100, closed: 900 }
`;

function problems(text: string): string[] {
  try {
    parseProfile(text, 'my.yaml');
  } catch (error) {
    if (!(error instanceof TautlineError)) throw error;
    expect(error.code).toBe('profileInvalid');
    return [error.line, ...error.details];
  }
  return [];
}

/** SMALLEST with one piece replaced. */
function changed(from: string, to: string): string {
  expect(SMALLEST).toContain(from);
  return SMALLEST.replace(from, to);
}

describe('parseProfile', () => {
  it('fills in every default', () => {
    const profile = parseProfile(SMALLEST, 'my.yaml');
    expect(profile).toMatchObject({
      name: 'unnamed',
      wearer: { handLengthMm: 189, handBreadthMm: 85 },
      safety: { maxTensionN: 8, allowPull: false, defaultTtlMs: 250, maxTtlMs: 1000 },
      stream: { host: '127.0.0.1', port: 7117, origins: [], maxClients: 64 },
    });
    expect(profile.gloves[0]).toMatchObject({
      link: { kind: 'simulated', sampleRateHz: 500, seed: 1 },
      codec: { kind: 'frames' },
      channels: [{ role: 'index.curl', bits: 12, inverted: false }],
      actuators: [],
      buttons: {},
      filter: { minCutoffHz: 2, beta: 3, derivativeCutoffHz: 2 },
      drift: { follow: true, rezeroGesture: true },
      controls: { stickDeadZone: 0.12, debounceMs: 8, triggerFinger: 'index' },
    });
  });

  it('fills in the defaults of the chosen kind of link', () => {
    const profile = parseProfile(changed('kind: simulated', 'kind: serial'), 'my.yaml');
    expect(profile.gloves[0].link).toEqual({ kind: 'serial', baud: 115200, silentMs: 1000 });
  });

  it('keeps what an alias stands for apart from its anchor', () => {
    const text = `${SMALLEST}      - &c { role: ring.curl, open: 1, closed: 9, curve: &k [[3, 0.4]] }
      - { role: little.curl, open: 1, closed: 9, curve: *k }
`;
    const [, ring, little] = parseProfile(text, 'my.yaml').gloves[0].channels;
    expect(little.curve).toEqual([[3, 0.4]]);
    expect(little.curve).not.toBe(ring.curve);
  });

  it.each([
    ['', '1:1: the profile is empty; copy one of the examples in config/.'],
    ['# only a comment\n', '1:1: the profile is empty; copy one of the examples in config/.'],
    ['- 1\n', '1:1: the profile must be a map of keys, but is a list.'],
    [
      'profile: {\n',
      '2:1: not YAML: Flow map in block collection must be sufficiently indented and end with a }.',
    ],
    ['\tprofile: 1\n', '1:1: not YAML: Tabs are not allowed as indentation.'],
    ['profile: 1\nprofile: 1\n', '2:1: key "profile" is given twice (first in line 1).'],
    ['profile: !!binary aaaa\n', '1:19: tags (!name) are not read; take it out.'],
    ['%YAML 1.1\n---\nprofile: 1\n', '1:1: only YAML 1.2 is read; take the %YAML line out.'],
    ['? { a: b }\n: c\n', '1:3: a key must be a single word.'],
    [`a: ${'['.repeat(20_000)}`, '1:1: the file cannot be read: it is nested too deeply.'],
    [
      `${SMALLEST}x: &a [${'1,'.repeat(70)}]\ny: [${'*a,'.repeat(70)}]\n`,
      '1:1: the file cannot be read: its aliases (*name) go too far.',
    ],
    ['#'.repeat(300_000), '1:1: the file is larger than 64 kB.'],
  ])('refuses text that is no profile: %.30s', (text, line) => {
    expect(problems(text)[0]).toBe(`my.yaml:${line}`);
  });

  it.each([
    ['profile: 1', 'profile: 2', '1:10: profile must be 1, but is 2.'],
    [
      'profile: 1',
      'profile: 1\nstraem: {}',
      '2:1: unknown key "straem" in the profile; did you mean "stream"?',
    ],
    [
      'profile: 1',
      'profile: 1\n<<: {}',
      '2:1: unknown key "<<" in the profile; known are profile, name, gloves, wearer, safety, stream, openxr, fleet.',
    ],
    [
      'profile: 1',
      'profile: 1\n__proto__: {}',
      '2:1: unknown key "__proto__" in the profile; known are profile, name, gloves, wearer, safety, stream, openxr, fleet.',
    ],
    // A mistyped key is one mistake, not two.
    ['    hand: right', '    hnad: right', '4:5: unknown key "hnad" in gloves[0]; did you mean "hand"?'],
    ['    hand: right\n', '', '3:5: gloves[0] needs the key "hand" (Which hand it is worn on).'],
    ['hand: right', 'hand: rigth', '4:11: gloves[0].hand is "rigth"; did you mean right?'],
    ['hand: right', 'hand: both', '4:11: gloves[0].hand must be one of left, right, but is "both".'],
    ['name: Test glove', 'name: 5', '3:11: gloves[0].name must be text, but is 5; put it in quotes.'],
    ['name: Test glove', "name: ''", '3:11: gloves[0].name must have at least 1 character.'],
    ['kind: simulated', 'seed: 1', '5:11: gloves[0].link needs a kind: serial, ble, simulated.'],
    ['kind: simulated', 'kind: seriall', '5:19: gloves[0].link.kind is "seriall"; did you mean serial?'],
    [
      'kind: simulated',
      'kind: serial, bauds: 9600',
      '5:27: unknown key "bauds" in gloves[0].link; did you mean "baud"?',
    ],
    [
      'kind: simulated',
      'kind: serial, baud: fast',
      '5:33: gloves[0].link.baud must be a whole number, but is "fast".',
    ],
    [
      'kind: simulated',
      'kind: serial, baud: 300',
      '5:33: gloves[0].link.baud must be at least 1200, but is 300.',
    ],
    [
      'kind: simulated',
      'kind: serial, usb: { vendor: 0403 }',
      '5:42: gloves[0].link.usb.vendor must be text, but is 403; put it in quotes.',
    ],
    [
      'kind: simulated',
      'kind: simulated, seed: 1.5',
      '5:36: gloves[0].link.seed must be a whole number, but is 1.5.',
    ],
    ['open: 100', 'open: .nan', '7:35: gloves[0].channels[0].open must be a number, but is NaN.'],
    ['open: 100', 'open: -.inf', '7:35: gloves[0].channels[0].open must be a number, but is -Infinity.'],
    ['open: 100', 'open:', '7:34: gloves[0].channels[0].open must be a number, but is empty.'],
    [
      'index.curl',
      'idnex.curl',
      '7:17: gloves[0].channels[0].role is "idnex.curl"; did you mean index.curl?',
    ],
    [
      'closed: 900',
      'closed: 100',
      '7:48: gloves[0].channels[0] (index.curl): open and closed must differ, but both are 100.',
    ],
    [
      'closed: 900',
      'closed: 5000',
      '7:48: gloves[0].channels[0] (index.curl): closed must lie in 0..4095 (bits: 12), but is 5000.',
    ],
    [
      'closed: 900',
      'closed: 900, centre: 950',
      '7:61: gloves[0].channels[0] (index.curl): centre must lie between open (100) and closed (900), but is 950.',
    ],
    [
      'closed: 900',
      'closed: 900, curve: [[200, 0.5], [300, 0.4]]',
      '7:73: gloves[0].channels[0] (index.curl): the curve must rise from open to closed, but goes from [200, 0.5] to [300, 0.4].',
    ],
    [
      'closed: 900',
      'closed: 900, curve: [[200, 0.5], [950, 0.6]]',
      '7:73: gloves[0].channels[0] (index.curl): curve point 2 must have counts between open (100) and closed (900) and a curl in 0..1.',
    ],
    [
      'closed: 900',
      'closed: 900, curve: [[200, 0.5, 1]]',
      '7:61: gloves[0].channels[0].curve[0] must have at most 2 items, but has 3.',
    ],
    ['    channels:', '    buttons: { a: 1, b: 1 }\n    channels:', '6:25: button b: bit 1 is already a.'],
    [
      '    channels:',
      '    buttons: { thumbstik: 1 }\n    channels:',
      '6:16: unknown key "thumbstik" in gloves[0].buttons; did you mean "thumbstick"?',
    ],
    [
      '    channels:',
      '    buttons: { a: 16 }\n    channels:',
      '6:19: gloves[0].buttons.a must be at most 15, but is 16.',
    ],
    [
      '    channels:',
      '    channels:\n      - { role: index.curl, open: 1, closed: 2 }',
      '8:17: channel index.curl is already gloves[0].channels[0].',
    ],
    [
      '    channels:',
      '    channels:\n      - { role: wrist.qx, open: 1, closed: 2 }',
      '7:7: a wrist sensor needs all four of wrist.qx, wrist.qy, wrist.qz, wrist.qw; missing: wrist.qy, wrist.qz, wrist.qw.',
    ],
    [
      '    channels:',
      '    forearmMm: 260\n    channels:',
      '6:16: a forearm moves by a wrist sensor, wrist.qx, wrist.qy, wrist.qz, wrist.qw: this glove has none.',
    ],
    [
      '    channels:',
      '    actuators:\n      - { role: index }\n      - { role: index }\n    channels:',
      '8:17: actuator index (stringStop) is already gloves[0].actuators[0].',
    ],
    [
      '    channels:',
      '    actuators:\n      - { role: index, stopAtOpen: 1 }\n    channels:',
      '7:9: gloves[0].actuators[0] (index): stopAtOpen and stopAtClosed must differ.',
    ],
    [
      '    channels:',
      '    actuators:\n      - { role: index, stallTorqueNm: 1.5 }\n    channels:',
      '7:39: gloves[0].actuators[0] (index): stallTorqueNm: 1.5 N·m is more than belongs on a finger; did you mean kg·cm, as data sheets give it? 1.5 kg·cm is 0.147 N·m. If it really is that strong, leave it out.',
    ],
    [
      '    channels:',
      '    actuators:\n      - { role: index, kind: brake, spoolRadiusMm: 0.02 }\n    channels:',
      '7:52: gloves[0].actuators[0] (index): spoolRadiusMm: 0.02 mm is thinner than what a string winds on; did you mean metres? 0.02 m is 20 mm.',
    ],
    [
      'closed: 900',
      'closed: 900, string: { spoolRadiusMm: 0.01 }',
      '7:78: gloves[0].channels[0] (index.curl): spoolRadiusMm: 0.01 mm is thinner than what a string winds on; did you mean metres? 0.01 m is 10 mm.',
    ],
    [
      'profile: 1',
      'profile: 1\nsafety: { maxTtlMs: 100 }',
      '2:21: safety.maxTtlMs (100) must be at least safety.defaultTtlMs (250).',
    ],
    [
      'profile: 1',
      'profile: 1\nsafety: { maxTensionN: 51 }',
      '2:24: safety.maxTensionN must be at most 50, but is 51.',
    ],
    [
      'profile: 1',
      'profile: 1\nstream: { host: 0.0.0.0 }',
      '2:17: stream.host "0.0.0.0" can be reached by other machines: it needs a stream.token of 16 characters or more.',
    ],
    [
      'profile: 1',
      'profile: 1\nstream: { origins: ["https://app.example/"] }',
      '2:21: stream.origins[0] must be a web origin without a path; did you mean "https://app.example"?',
    ],
    [
      'profile: 1',
      'profile: 1\nstream: { permissions: { anyApp: [resist, arm] } }',
      '2:43: stream.permissions.anyApp: no app arms just by asking; list the app that may under apps, with a token.',
    ],
    [
      'profile: 1',
      'profile: 1\nstream: { permissions: { apps: [{ name: Game, may: [arm] }] } }',
      '2:53: stream.permissions.apps[0] "Game": an app that may arm needs a token of 16 characters or more.',
    ],
  ])('names the place and the remedy: %.30s -> %.60s', (from, to, line) => {
    expect(problems(changed(from, to))).toEqual([`my.yaml:${line}`]);
  });

  it.each([
    ['columns: [timeMs, index.curl]', undefined],
    [
      'columns: [timeMs, index.crul]',
      '5:45: codec.columns[1] "index.crul" is unknown; did you mean index.curl?',
    ],
    ['columns: [index.curl, index.curl]', '5:49: codec.columns[1] "index.curl" is given twice.'],
    [
      'columns: [index.curl, ring.curl]',
      '5:49: codec.columns[1] "ring.curl" has no channel; add one with that role, or write skip.',
    ],
    ['columns: [skip, skip]', '8:17: channel index.curl has no column in codec.columns.'],
    [
      'columns: [index.curl], output: "{index.stop}"',
      '5:58: codec.output: "{index.stop}" has no actuator with the role "index".',
    ],
  ])('checks the text codec: %s', (codec, line) => {
    const text = changed('    link:', `    codec: { kind: lines, ${codec} }\n    link:`);
    const found = problems(text);
    if (line === undefined) expect(found).toEqual([]);
    else expect(found[0]).toBe(`my.yaml:${line}`);
  });

  it.each([
    ['{index.stop} {index.effort}', undefined],
    ['{index.us}', 'codec.output: "{index.us}" needs servoUs in the actuator index.'],
    ['{index.stpo}', 'codec.output: "{index.stpo}" is unknown; did you mean {index.stop}?'],
    [
      '{index}',
      'codec.output: "{index}" is unknown; write such as {index.stop}, {index.effort} or {index.us}.',
    ],
  ])('checks the output line: %s', (output, message) => {
    const codec = `    codec: { kind: lines, columns: [index.curl], output: '${output}' }`;
    const text = changed('    link:', `${codec}\n    actuators: [{ role: index }]\n    link:`);
    expect(problems(text)).toEqual(message === undefined ? [] : [`my.yaml:5:58: ${message}`]);
  });

  it('takes the figures of what holds no finger, and of a recording, as they are', () => {
    const odd = (kind: string) =>
      changed(
        '    channels:',
        `    actuators: [{ role: index, kind: ${kind}, stallTorqueNm: 1.5 }]\n    channels:`,
      );
    expect(problems(odd('vibration'))).toEqual([]);
    expect(problems(odd('stringStop'))).toHaveLength(1);
    expect(parseProfile(odd('stringStop'), 'my.yaml', true).gloves[0].actuators[0].stallTorqueNm).toBe(1.5);
  });

  it('takes a curve in either order, and one that runs from an inverted end', () => {
    for (const curve of [
      'curve: [[600, 0.7], [300, 0.4]]',
      'inverted: true, curve: [[300, 0.7], [600, 0.4]]',
    ]) {
      expect(problems(changed('closed: 900', `closed: 900, ${curve}`))).toEqual([]);
    }
  });

  it('refuses the same hand twice', () => {
    const glove = SMALLEST.slice(SMALLEST.indexOf('  - name'));
    expect(problems(SMALLEST + glove)).toEqual(['my.yaml:9:11: gloves[0] is already the right hand.']);
  });

  it('gathers the problems in the order of the file, those of schema and of rules together, at most ten', () => {
    const channels = Array.from({ length: 12 }, () => '      - { role: x, open: 1, closed: 1 }\n').join('');
    const found = problems(`${SMALLEST}${channels}stream: { host: 0.0.0.0, ports: 1 }\n`);
    expect(found).toHaveLength(11);
    expect(found[0]).toMatch(/^my\.yaml:8:17: gloves\[0\]\.channels\[1\]\.role must be one of /);
    expect(found[9]).toMatch(/^my\.yaml:17:17: /);
    expect(found[10]).toBe('my.yaml: 3 more problems.');
  });

  it('keeps every message to one line without control characters', () => {
    const found = problems(changed('hand: right', 'hand: "a\\nb\\e[31m\\u202e\\u009b"'));
    expect(found[0]).toBe(
      'my.yaml:4:11: gloves[0].hand must be one of left, right, but is "a\\nb\\u001b[31m\\u202e\\u009b".',
    );
  });
});

describe('the example profiles', async () => {
  const names = (await readdir(CONFIG)).filter((name) => name.endsWith('.yaml'));

  it.each(names)('%s loads, and names its schema for editors', async (name) => {
    await expect(loadProfile(join(CONFIG, name))).resolves.toMatchObject({ profile: 1 });
    const text = await readFile(join(CONFIG, name), 'utf8');
    expect(text.split('\n', 1)[0]).toBe('# yaml-language-server: $schema=./profile.schema.json');
  });

  it('are at least the three that the documentation names', () => {
    expect(names).toEqual(
      expect.arrayContaining(['simulated.yaml', 'five-curl.yaml', 'curl-splay-stick.yaml']),
    );
  });

  it('damaged at random, give a profile or a TautlineError and nothing else', async () => {
    const texts = await Promise.all(names.map((name) => readFile(join(CONFIG, name), 'utf8')));
    const pieces = [
      '{',
      '}',
      '[',
      ']',
      ':',
      '- ',
      '&a ',
      '*a',
      '!!x ',
      '"',
      "'",
      '\n',
      '\t',
      '#',
      '|',
      '%',
      '? ',
      '~',
      '.nan',
      '-1',
      '1e999',
      '\u0000',
      '---\n',
      '<<: ',
    ];
    const edit = fc.record({
      at: fc.double({ min: 0, max: 1, noNaN: true }),
      cut: fc.nat(40),
      put: fc.oneof(fc.constantFrom(...pieces), fc.string({ maxLength: 6 }), fc.constant('')),
    });
    fc.assert(
      fc.property(
        fc.constantFrom(...texts),
        fc.array(edit, { minLength: 1, maxLength: 4 }),
        (text, edits) => {
          const damaged = edits.reduce((result, { at, cut, put }) => {
            const start = Math.floor(at * result.length);
            return result.slice(0, start) + put + result.slice(start + cut);
          }, text);
          for (const line of problems(damaged)) expect(line).not.toMatch(/\n/);
        },
      ),
      { numRuns: 300 },
    );
  });
});

describe('loadProfile', () => {
  let directory: string;
  beforeAll(async () => {
    directory = await mkdtemp(join(tmpdir(), 'tautline-'));
  });
  afterAll(() => rm(directory, { recursive: true }));

  it.each([
    [
      'missing.yaml',
      'profileNotFound',
      `no such file. Check the path, or copy one of the examples in ${resolve('config')} there.`,
    ],
    ['', 'profileNotFound', 'the profile is a directory. Name a file in it.'],
    ['latin1.yaml', 'profileInvalid', 'the file is not UTF-8 text. Save it as UTF-8.'],
    ['large.yaml', 'profileInvalid', 'the file is larger than 64 kB.'],
  ])('says what to do about a file that cannot be read: %s', async (name, code, message) => {
    await writeFile(join(directory, 'latin1.yaml'), Buffer.from([0x61, 0x3a, 0x20, 0xe4]));
    await writeFile(join(directory, 'large.yaml'), Buffer.alloc(256 * 1024 + 1, 0x23));
    const path = name === '' ? directory : join(directory, name);
    await expect(loadProfile(path)).rejects.toMatchObject({ code, line: `${path}: ${message}` });
  });

  it('reads a file with a byte order mark and CR LF', async () => {
    const path = join(directory, 'windows.yaml');
    await writeFile(path, `\ufeff${SMALLEST.replaceAll('\n', '\r\n')}`);
    await expect(loadProfile(path)).resolves.toMatchObject({ gloves: [{ hand: 'right' }] });
  });
});
