import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { GloveWear } from '../../src/commands/wear.js';
import { parseProfile } from '../../src/config/load.js';
import { createSessionWriter } from '../../src/recording/session-writer.js';
import { HELLO, heardBy } from '../glove/glove-on-link.js';
import { createEverydayWearer } from '../guide/from-use/everyday-wearer.js';
import { CURL_ROLES, gaussian } from '../sensing/glove-signals.js';
import { createSyntheticGlove } from '../sensing/synthetic-glove.js';
import { run } from './cli.js';

const RATE_HZ = 100;
/** The same glove every day: its sensors are as the profile says. */
const createGlove = () =>
  createSyntheticGlove({
    seed: 4,
    roles: CURL_ROLES,
    bits: 12,
    strings: false,
    bow: 0.04,
    hysteresis: 0.01,
    noise: 0.0005,
  });
const ends = (k: number) => (createGlove().rises(k) ? 'open: 400, closed: 3700' : 'open: 3700, closed: 400');
const PROFILE = `profile: 1
gloves:
  - name: the red one
    hand: right
    link: { kind: serial, path: /dev/ttyUSB7 }
    channels:
${CURL_ROLES.map((role, k) => `      - { role: ${role}, ${ends(k)} }`).join('\n')}
`;

interface Day {
  /** Added noise of the index finger, counts; backlash of the ring, part of its range; the little's lost range. */
  noise?: number;
  rub?: number;
  lost?: number;
  seconds?: number;
}

/** A session as the recorder writes it, of a hand that does what it likes in a glove that wears. */
function writeSession(file: string, startedAt: string, seed: number, day: Day): void {
  const chunks: Uint8Array[] = [];
  const head = {
    session: 1,
    program: '0.1.0',
    startedAt,
    timeUs: 1e6,
    epochNs: String(BigInt(Date.parse(startedAt)) * 1_000_000n),
    part: 1,
    hands: ['right' as const],
    joints: false,
  };
  const writer = createSessionWriter((bytes) => void chunks.push(bytes.slice()), head);
  writer.json(undefined, 'session', 1e6, head);
  writer.json(undefined, 'profile', 1e6, parseProfile(PROFILE, 'p.yaml'));
  // The same glove every day, another mood of its wearer.
  const glove = createGlove();
  const person = createEverydayWearer({ seed });
  const noise = gaussian(seed + 3);
  const counts = new Uint16Array(5);
  const frames = heardBy({});
  glove.rub(3, day.rub ?? 0.01);
  const say = (timeUs: number, bytes: Uint8Array) => writer.link('right', 'received', timeUs, bytes);
  say(
    1e6,
    frames.hello({
      ...HELLO,
      sampleRateHz: RATE_HZ,
      channels: CURL_ROLES.map((role) => ({ role, bits: 12 })),
      actuators: [],
    }),
  );
  let first = -1;
  for (let t = 0; t < (day.seconds ?? 100) * RATE_HZ; t++) {
    glove.read(person.at(t / RATE_HZ), counts);
    counts[1] += Math.round((day.noise ?? 0) * noise());
    if (first < 0) first = counts[4];
    counts[4] = Math.round(2000 + (counts[4] - 2000) * (1 - (day.lost ?? 0)));
    say(1e6 + (t * 1e6) / RATE_HZ, frames.samples(Math.round((t * 1e6) / RATE_HZ), 0, counts, 5));
    if (t % 500 === 0) writer.flush();
  }
  writer.end();
  writeFileSync(file, Buffer.concat(chunks));
}

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-wear-'));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** One session every ten days from January on. */
function history(name: string, days: readonly Day[]): string[] {
  return days.map((day, k) => {
    const file = join(folder, `${name}-${String(k).padStart(2, '0')}.mcap`);
    writeSession(file, new Date(Date.UTC(2026, 0, 10 + 10 * k, 12)).toISOString(), 40 + k, day);
    return file;
  });
}

async function wearOf(files: readonly string[], ...more: string[]): Promise<GloveWear> {
  const { code, stdout, stderr } = await run('wear', '--json', ...more, ...files);
  expect(stderr).toBe('');
  expect(code).toBe(0);
  const [report] = JSON.parse(stdout) as GloveWear[];
  return report;
}

describe('tautline wear', () => {
  it('says which sensor is noisier since when, which string rubs and which slips, and nothing of the others', async () => {
    const days = Array.from({ length: 12 }, (_, k): Day => (k < 6 ? {} : { noise: 5, rub: 0.18, lost: 0.2 }));
    const files = history('worn', days);
    const { glove, sessions, sensors, findings } = await wearOf(files);
    expect([glove, sessions]).toEqual(['the red one', 12]);
    expect(sensors.every(({ enough }) => enough)).toBe(true);
    const found = findings.map(({ role, sign }) => `${role} ${sign}`).sort();
    expect(found).toEqual([
      'index.curl noise',
      'little.curl range',
      'ring.curl friction',
      // A string that rubs does not follow to the ends.
      'ring.curl range',
    ]);
    const noisy = findings.find(({ sign }) => sign === 'noise')!;
    // 2 counts before, the root of 4 and 25 after: 2.6 times; the seventh session is of March 11.
    expect(noisy.says).toMatch(/^index\.curl: noisier by 2\.[4-8] times since 2026-03-11\.$/);
    expect(noisy.remedy).toMatch(/clean it .* or replace the potentiometer/);
    expect(findings.find(({ role, sign }) => role === 'little.curl' && sign === 'range')!.says).toMatch(
      /uses (19|20|21) % less of its range since 2026-03-11/,
    );
    const { stdout } = await run('wear', folder);
    expect(stdout).toMatch(/^the red one \(right hand\): 12 sessions, 2026-01-10 to 2026-04-30$/m);
    expect(stdout).toContain('No wear to be seen: thumb.curl, middle.curl.');
    for (const line of stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
  }, 120_000);

  it('sees no wear in a glove that does not wear, nor in one bad day', async () => {
    const files = history(
      'well',
      Array.from({ length: 9 }, (_, k): Day => (k === 5 ? { noise: 9, rub: 0.15 } : {})),
    );
    const { findings } = await wearOf(files);
    expect(findings).toEqual([]);
  }, 120_000);

  it('says when it has too little to say, and passes over what it cannot read', async () => {
    const files = history('few', [{}, {}, { noise: 9 }, { noise: 9 }, { seconds: 20 }]);
    const broken = join(folder, 'broken.mcap');
    writeFileSync(broken, 'no session');
    const { code, stdout, stderr } = await run('wear', folder);
    expect(code).toBe(0);
    expect(stderr).toMatch(/broken\.mcap: passed over\. /);
    // The short one does not count.
    expect(stdout).toMatch(/: 4 sessions, /);
    expect(stdout).toContain('Too little to say anything yet: it takes six sessions or fits over a week at');
    expect(stdout).not.toMatch(/!/);
    for (const file of [...files, broken]) rmSync(file);
    const nothing = await run('wear', folder);
    expect(nothing.code).toBe(1);
    expect(nothing.stderr).toMatch(
      /^tautline: There are no sessions and no fits\. Record some with `tautline record`/,
    );
    expect((await run('wear', join(folder, 'none'))).stderr).toMatch(/none: no such file\. Check the path\./);
  }, 120_000);

  it('sees by the fits beside the profile that a string has stretched', async () => {
    const profile = join(folder, 'glove.yaml');
    writeFileSync(profile, PROFILE);
    const entries = Array.from({ length: 7 }, (_, k) => ({
      savedAt: new Date(Date.UTC(2026, 1, 1 + 9 * k)).toISOString(),
      person: 'Kim',
      glove: 'the red one',
      hand: 'right',
      residualDeg: 2,
      channels: CURL_ROLES.map((role, i) => {
        const stretched = i === 2 && k >= 4 ? 300 : 0;
        return {
          role,
          bits: 12,
          open: 400 + 7 * ((k * 5) % 3) + stretched,
          closed: 3600 + stretched,
          residualDeg: 2,
          poses: 8,
        };
      }),
    }));
    writeFileSync(join(folder, 'glove.fits.json'), JSON.stringify({ fits: 1, entries }));
    const { fits, findings } = await wearOf([], '--profile', profile);
    expect(fits).toBe(7);
    expect(findings.map(({ says }) => says)).toEqual([
      'middle.curl: both ends have moved by 9 % of its range since 2026-03-09.',
    ]);
  });
});
