import { spawn } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import type { FeelValues, GloveAnswer } from '../../src/glove/feel-report.js';
import type { FitsAnswer } from '../../src/glove/kept-fits.js';
import { RUNTIME, run } from '../commands/cli.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

/** How forces feel, compared on the firmware of this computer: one finger, a drive that heeds effort. */

const folder = mkdtempSync(join(tmpdir(), 'tautline-feel-'));
afterAll(async () => {
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
});
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** Index alone, with a drive that heeds effort. */
const profileOf = (pty: string): string =>
  hostGloveProfile(pty)
    .split('\n')
    .filter((line) => !line.includes('kind: stringStop'))
    .concat('      - { role: index, torqueControl: true }')
    .join('\n');

interface Servo {
  servo: string;
  effort: number;
  free: boolean;
}
const index = async (host: HostGlove): Promise<Servo> =>
  (await host.ask<Servo[]>('servos')).find(({ servo }) => servo === 'index')!;

it('is compared over HTTP, kept for its wearer, applied to what apps ask for, and undone', async ({
  onTestFinished,
}) => {
  const host = await startHostGlove('--rate 200 --noise 1 --actuators index'.split(' '));
  onTestFinished(async () => void (await host.quit()));
  const service = await startServiceProcess(profileOf(host.pty));
  onTestFinished(() => service.stop());
  const url = `http://127.0.0.1:${service.port}`;
  const ask = async <T = GloveAnswer>(method: string, path: string) => {
    const response = await fetch(`${url}${path}`, { method });
    return {
      status: response.status,
      body: (await response.json()) as T & { message?: string; code?: string },
    };
  };
  const app = await service.connect();
  app.send({ type: 'subscribe', streams: ['joints'] });
  await app.until(({ type }) => type === 'joints');

  const values = (await ask<FeelValues>('GET', '/feel/values')).body;
  expect(values.inUse).toEqual({});
  expect(values.actuators[0].values.find(({ what }) => what === 'effort')).toMatchObject({
    value: 0.4,
    against: 0.8,
  });

  // Signs of life, as a page gives them.
  const alive = setInterval(() => void ask('GET', '/feel?leader=page').catch(() => {}), 300);
  onTestFinished(() => clearInterval(alive));
  // A busy machine may miss samples for a moment; then it is asked again.
  const asked = '/feel?what=effort&a=0.35&b=0.9&rounds=2&person=Kim&leader=page&by=the%20page';
  let begun = await ask('POST', asked);
  while (begun.body.code === 'tryAgain') {
    await pause(200);
    begun = await ask('POST', asked);
  }
  expect(begun).toMatchObject({ status: 200, body: { state: 'running', armed: false } });
  expect((await ask('POST', '/feel?what=effort&leader=other')).body.message).toMatch(/already, by the page/);
  expect((await ask('POST', '/feel/choose?which=first&leader=page')).body.message).toMatch(/Feel the first/);
  while ((await service.arm()).status !== 200) await pause(200);
  for (let round = 1; round <= 2; round++) {
    await host.command('ramp index.curl 0.1 200');
    await pause(400);
    await host.command('ramp index.curl 0.5 900');
    const efforts: number[] = [];
    for (const which of ['first', 'second'] as const) {
      await ask('POST', `/feel/show?which=${which}&leader=page`);
      for (let times = 1; ; times++) {
        const { trial, state } = (await ask('GET', '/feel?leader=page')).body;
        if (trial?.felt[which]) break;
        expect(state).toBe('running');
        // A busy machine may make a finger leap, which is not believed: it comes again.
        if (times % 80 === 0) {
          await host.command('ramp index.curl 0.1 500');
          await pause(900);
          await host.command('ramp index.curl 0.5 900');
        }
        await pause(50);
      }
      efforts.push((await index(host)).effort);
    }
    // The one that presses less.
    const which = efforts[0] < efforts[1] ? 'first' : 'second';
    expect((await ask('POST', `/feel/choose?which=${which}&leader=page`)).status).toBe(200);
  }
  const { found, state, armed } = (await ask('GET', '/feel')).body;
  expect({ state, armed }).toEqual({ state: 'done', armed: false });
  expect(found?.revealed).toMatchObject({ preferred: 'a', chosen: { a: 2, b: 0, same: 0 }, byChance: 0.5 });
  expect((await index(host)).free).toBe(true);

  expect((await ask('POST', '/feel/keep')).body.found?.accepted).toBe(true);
  const fits = (await ask<FitsAnswer>('GET', '/fits')).body;
  expect(fits.fits).toMatchObject([{ kind: 'feel', person: 'Kim', hand: 'right', inUse: true }]);
  const welcome = await (await service.connect()).until(({ type }) => type === 'welcome');
  expect(welcome).toMatchObject({ hands: [{ feel: { effort: 0.35 } }] });
  const listed = await run('fit', '--list', '--url', url);
  expect(listed.stdout).toMatch(/Kim +feel: effort, 2 to 0 +in use/);

  // An app that asks for all gets what the wearer wants of it.
  await host.command('ramp index.curl 0.1 200');
  while ((await service.arm()).status !== 200) await pause(200);
  const holds = setInterval(
    () => app.send({ type: 'resist', hand: 'right', fingers: { index: { stopAt: 0.5, effort: 1 } } }),
    50,
  );
  onTestFinished(() => clearInterval(holds));
  let effort = 0;
  for (let times = 0; effort === 0; times++) {
    if (times % 80 === 0) {
      await host.command('ramp index.curl 0.1 500');
      await pause(900);
      await host.command('ramp index.curl 0.5 900');
    }
    await pause(50);
    effort = (await index(host)).effort;
  }
  expect(effort / 255).toBeLessThanOrEqual(0.36);
  clearInterval(holds);
  await ask('POST', '/fits/undo');
  expect((await ask<FeelValues>('GET', '/feel/values')).body.inUse).toEqual({});
}, 120_000);

it.runIf(process.platform === 'linux')(
  'is compared at the keyboard, which says which was which only at the end',
  async ({ onTestFinished }) => {
    const host = await startHostGlove('--rate 200 --noise 1 --actuators index'.split(' '));
    onTestFinished(async () => void (await host.quit()));
    const file = join(folder, 'mine.yaml');
    writeFileSync(file, `${profileOf(host.pty)}\nstream: { port: 0 }\n`);
    // A terminal of its own, by util-linux' script(1).
    const command = `"${process.execPath}" dist/main.js feel effort --a 0.35 --b 0.9 --rounds 1 --person Kim --profile ${file}`;
    const child = spawn('script', ['-qec', command, '/dev/null'], {
      stdio: ['pipe', 'pipe', 'inherit'],
      env: { ...process.env, TERM: 'dumb', XDG_RUNTIME_DIR: RUNTIME },
    });
    let said = '';
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      said += text;
    });
    const heard = async (text: string | RegExp, since = 0) => {
      for (;;) {
        if (typeof text === 'string' ? said.slice(since).includes(text) : text.test(said.slice(since)))
          return;
        if (child.exitCode !== null) throw new Error(`ended before ${text}: ${said}`);
        await pause(50);
      }
    };
    await heard('1/1  the first');
    await pause(400);
    child.stdin.write('a');
    await heard(/felt: neither +armed/);
    await host.command('ramp index.curl 0.5 900');
    await heard('felt: first ');
    child.stdin.write('2');
    await heard('felt: first and second');
    expect(said).not.toMatch(/0\.35|0\.9/);
    child.stdin.write('\r');
    await heard('Keep effort');
    expect(said).toMatch(/1\. first 0\.(35|9), second 0\.(9|35): chose 0\.(35|9)/);
    expect((await index(host)).free).toBe(true);
    child.stdin.write('\r');
    const code = await new Promise((resolve) => child.once('close', resolve));
    expect(code).toBe(0);
    expect(said).toContain('Kept for Kim.');
    const { entries } = JSON.parse(readFileSync(join(folder, 'mine.fits.json'), 'utf8')) as {
      entries: { feel: object }[];
    };
    expect(entries).toMatchObject([
      { person: 'Kim', hand: 'right', feel: { tried: 'effort', chosen: [1, 0] } },
    ]);
  },
  120_000,
);

it('prints where to begin, and refuses in one line what cannot be felt', async () => {
  const values = await run('feel', '--profile', 'config/simulated.yaml', '--json');
  expect(values.code).toBe(0);
  expect(JSON.parse(values.stdout)).toMatchObject({ hand: 'right', inUse: {} });
  const text = await run('feel', '--profile', 'config/simulated.yaml');
  for (const line of text.stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
  expect(text.stdout).toContain('Nothing of your own is in use.');
  const refused = await run('feel', 'effort', '--profile', 'config/simulated.yaml');
  expect(refused.stderr).toMatch(
    /^tautline: effort cannot be felt on the index: It holds with all it has or not at all\.\n$/,
  );
  expect(refused.code).toBe(1);
});
