import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { hostname, tmpdir, userInfo } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it, onTestFinished } from 'vitest';
import type { CheckReport } from '../../src/guide/report.js';
import { FINGERS } from '../../src/hand/joints.js';
import { run, start } from '../commands/cli.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { obeyPrompts } from './prompted.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

afterAll(stopAllServices);

async function startGlove(): Promise<{ host: HostGlove; profile: string }> {
  const host = await startHostGlove(['--rate', '100']);
  const folder = mkdtempSync(join(tmpdir(), 'tautline-guided-'));
  onTestFinished(async () => {
    await host.quit();
    rmSync(folder, { recursive: true, force: true });
  });
  const profile = join(folder, 'glove.yaml');
  // A port of its own: another service of this machine is none of its business.
  writeFileSync(profile, `${hostGloveProfile(host.pty)}\nstream: { port: 0 }\n`);
  return { host, profile };
}

it.concurrent('passes a good glove, opened by its profile, in plain lines of 80 columns', async () => {
  const { host, profile } = await startGlove();
  const report = `${profile}.md`;
  const command = start(['check', '--profile', profile, '--report', report]);
  const { prompts } = obeyPrompts(host, command.process.stdout!);
  const { code, stdout, stderr } = await command.outcome;
  expect(stderr).toBe('');
  const verdicts = stdout.split('\n').filter((line) => /^\w+\.curl/.test(line));
  expect(verdicts).toHaveLength(5);
  for (const line of verdicts) expect(line).toMatch(/ well +uses 7\d % of the converter, noise/);
  // A machine at its limit may itself be what makes the link slow.
  const linkWell = /^link +well/m.test(stdout);
  expect(code).toBe(linkWell ? 0 : 1);
  if (linkWell) expect(stdout).toContain('All 5 channels and the link are well.');
  expect(prompts).toHaveLength(10);
  // To be posted: nothing in it says whose glove it is, or where.
  const text = readFileSync(report, 'utf8');
  expect(text).toMatch(/^\| index\.curl \| healthy \| `#+\.*` 7\d % \|/m);
  expect(text).toMatch(/right hand, 5 channels/);
  for (const secret of ['host glove', host.pty, tmpdir(), userInfo().username, hostname()])
    expect(text).not.toContain(secret);
  for (const line of stdout.split('\n').filter((one) => !one.includes(report))) {
    expect(line.length).toBeLessThanOrEqual(80);
    expect(line).toMatch(/^[\x20-\x7e]*$/);
  }
}, 150_000);

it.concurrent('asks the running service, and names each of several faults, with exit code 1', async () => {
  const { host, profile } = await startGlove();
  const page = `${profile}.html`;
  await host.command('fault intermittent thumb.curl');
  await host.command('fault short index.curl');
  await host.command('swap middle.curl ring.curl');
  await host.command('fault reversed little.curl');
  const service = await startServiceProcess(hostGloveProfile(host.pty));
  // It would go on trying the port, and take the next glove that the system gives the same name.
  onTestFinished(() => service.stop());
  const command = start(['check', '--json', '--report', page, '--url', `http://127.0.0.1:${service.port}`]);
  obeyPrompts(host, command.process.stderr!);
  const { code, stdout, stderr } = await command.outcome;
  expect(stderr).toContain('host glove');
  const { ok, channels, link } = JSON.parse(stdout) as CheckReport;
  expect(code).toBe(1);
  expect(ok).toBe(false);
  expect(channels.map(({ verdict }) => verdict)).toEqual([
    'intermittent',
    'shortRange',
    'swapped',
    'swapped',
    'reversed',
  ]);
  for (const { remedy } of channels) expect(remedy).not.toBe('');
  expect(link).toMatchObject({ promisedHz: 100, badCrc: 0, malformed: 0 });
  // A page that stands alone, with a plot of each channel, and nothing that says whose glove it is.
  const html = readFileSync(page, 'utf8');
  expect(html.match(/<polygon points="[\d., -]{500,}"/g)).toHaveLength(5);
  expect(html).toMatch(/<h2 class="ill">middle\.curl: swapped<\/h2>/);
  expect(html).not.toMatch(/<script|https?:|src=|url\(/);
  for (const secret of ['host glove', host.pty, tmpdir(), userInfo().username, hostname()])
    expect(html).not.toContain(secret);
}, 150_000);

it.concurrent('fits the hand, keeps the fit beside the profile, uses it, lists it and undoes it', async () => {
  const { host, profile } = await startGlove();
  // The glove is wound the other way round and reaches elsewhere than the profile says.
  for (const [f, finger] of FINGERS.entries()) {
    await host.command(`range ${finger}.curl ${3300 - 50 * f} ${700 + 40 * f}`);
  }
  const command = start(['fit', '--profile', profile, '--person', 'Kim']);
  obeyPrompts(host, command.process.stdout!);
  const { code, stdout, stderr } = await command.outcome;
  expect(stderr).toBe('');
  expect(code).toBe(0);
  expect(stdout).toContain('Kept for Kim.');
  for (const line of stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);

  const kept = JSON.parse(readFileSync(profile.replace('.yaml', '.fits.json'), 'utf8'));
  expect(kept.entries).toHaveLength(1);
  for (const [f, { role, open, closed }] of kept.entries[0].channels.entries()) {
    expect(role).toBe(`${FINGERS[f]}.curl`);
    expect(Math.abs(open - (3300 - 50 * f))).toBeLessThan(30);
    expect(Math.abs(closed - (700 + 40 * f))).toBeLessThan(30);
  }

  const list = await run('fit', '--profile', profile, '--list');
  expect(list.stdout).toMatch(/^\d{4}-\d\d-\d\d \d\d:\d\d {2}Kim +5 sensors, \d+\.\d deg rms +in use\n$/);
  expect(list.stdout.length).toBeLessThanOrEqual(81);
  const undone = await run('fit', '--profile', profile, '--undo');
  expect(undone.stdout).toContain("No fit: the profile's own numbers are used.");
  expect((await run('fit', '--profile', profile, '--undo')).stderr).toMatch(/There is no fit .* to undo/);
}, 150_000);
