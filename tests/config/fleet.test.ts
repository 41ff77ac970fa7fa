import { chmodSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { loadProfile, parseProfile } from '../../src/config/load.js';
import { isTopicName } from '../../src/config/topic-name.js';
import { TautlineError } from '../../src/errors.js';

const SIMULATED = readFileSync('config/simulated.yaml', 'utf8');
const withFleet = (fleet: string): string => `${SIMULATED}\nfleet: { ${fleet} }\n`;
const WHOLE = 'broker: mqtts://broker.lab:8883, site: lab-a, station: bench-01';

function problem(fleet: string): string {
  try {
    parseProfile(withFleet(fleet), 'my.yaml');
  } catch (error) {
    return (error as TautlineError).message.replace(/^my\.yaml:\d+:\d+: /, '');
  }
  return '';
}

describe('the fleet section', () => {
  it('is not there unless it is asked for, and publishes no motion unless it is asked to', () => {
    expect(parseProfile(SIMULATED, 'my.yaml').fleet).toBeUndefined();
    expect(parseProfile(withFleet(WHOLE), 'my.yaml').fleet).toEqual({
      broker: 'mqtts://broker.lab:8883',
      site: 'lab-a',
      station: 'bench-01',
      publish: ['health'],
      rateHz: 30,
      queueMb: 16,
      queueS: 60,
    });
  });

  it.each([
    ['site: a, station: b', 'fleet needs the key "broker"'],
    [WHOLE.replace('lab-a', 'lab/a'), 'fleet.site'],
    [WHOLE.replace('lab-a', '"+"'), 'fleet.site'],
    [WHOLE.replace('bench-01', '"#"'), 'fleet.station'],
    [WHOLE.replace('lab-a', 'collectors'), 'fleet.site: collectors is the place of collectors'],
    [WHOLE.replace('mqtts', 'https'), 'fleet.broker'],
    [WHOLE.replace('broker.lab', 'me:secret@broker.lab'), 'fleet.broker'],
    [WHOLE.replace('broker.lab:8883', 'broker.lab:88883'), 'fleet.broker is no address'],
    [
      `${WHOLE.replace('mqtts', 'mqtt')}, passwordFile: p`,
      'fleet.broker: the password could be read on the network; write mqtts://',
    ],
    [`${WHOLE.replace('mqtts', 'mqtt')}, caFile: p`, 'fleet.caFile is for mqtts:// alone'],
    [`${WHOLE}, certFile: p`, 'fleet.certFile and fleet.keyFile belong together'],
    [`${WHOLE}, keyFile: p`, 'fleet.certFile and fleet.keyFile belong together'],
    [`${WHOLE}, publish: [everything]`, 'fleet.publish[0]'],
    [`${WHOLE}, password: secret`, 'unknown key "password" in fleet; did you mean "passwordFile"?'],
  ])('refuses %s', (fleet, line) => {
    expect(problem(fleet)).toContain(line);
  });

  it('permits a password without TLS on this machine alone', () => {
    for (const host of ['127.0.0.1:1883', 'localhost', '[::1]:1883']) {
      expect(problem(`broker: "mqtt://${host}", site: a, station: b, passwordFile: p`)).toBe('');
    }
  });
});

describe('its files', () => {
  let folder: string;
  const file = (name: string, text: string, mode = 0o600): string => {
    writeFileSync(join(folder, name), text);
    chmodSync(join(folder, name), mode);
    return join(folder, name);
  };
  const load = (fleet: string) => loadProfile(file('profile.yaml', withFleet(fleet)));
  beforeAll(() => {
    folder = mkdtempSync(join(tmpdir(), 'tautline-fleet-'));
  });
  afterAll(() => rmSync(folder, { recursive: true }));

  it('are looked for beside the profile', async () => {
    file('password', 'a secret\n');
    file('ca.crt', 'certificate', 0o644);
    file('own.crt', 'certificate', 0o644);
    file('own.key', 'key');
    const { fleet } = await load(
      `${WHOLE}, passwordFile: password, caFile: ca.crt, certFile: own.crt, keyFile: own.key`,
    );
    expect(fleet).toMatchObject({
      passwordFile: join(folder, 'password'),
      caFile: join(folder, 'ca.crt'),
      certFile: join(folder, 'own.crt'),
      keyFile: join(folder, 'own.key'),
    });
  });

  const bits = process.platform !== 'win32';
  it.each([
    ['passwordFile', undefined, 'no such file for the password', 'fileNotFound'],
    ['caFile', undefined, 'no such file for the certificate', 'fileNotFound'],
    ['passwordFile', '', 'this is not a password', 'fileInvalid'],
    ['passwordFile', 'two\nlines\n', 'this is not a password', 'fileInvalid'],
    ...(bits
      ? ([['passwordFile', 'open', 'the password can be read by others (mode 0644)', 'fileDenied']] as const)
      : []),
  ] as const)('%s: %j is refused in a line', async (key, text, line, code) => {
    if (text !== undefined) file('bad', text, text === 'open' ? 0o644 : 0o600);
    const error = await load(`${WHOLE}, ${key}: ${text === undefined ? 'missing' : 'bad'}`).catch(
      (why) => why,
    );
    expect(error).toBeInstanceOf(TautlineError);
    expect(error).toMatchObject({ code });
    expect(error.line).toContain(line);
  });
});

it.each([
  ['bench-01', true],
  ['A.b_c', true],
  ['', false],
  ['.', false],
  ['..', false],
  ['-x', false],
  ['a/b', false],
  ['a b', false],
  ['+', false],
  ['#', false],
  ['$share', false],
  ['a\u0000', false],
  ['x'.repeat(41), false],
])('a name of a topic: %j %s', (name, is) => {
  expect(isTopicName(name)).toBe(is);
});
