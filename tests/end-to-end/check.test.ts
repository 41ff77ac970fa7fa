import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, expect, it } from 'vitest';
import type { CheckReport } from '../../src/glove-guide.js';
import { start } from '../commands/cli.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { obeyPrompts } from './prompted.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

let glove: HostGlove | undefined;
let folder = '';
afterEach(async () => {
  await stopAllServices();
  await glove?.quit();
  glove = undefined;
  if (folder) rmSync(folder, { recursive: true, force: true });
});

async function startGlove(...args: string[]): Promise<{ host: HostGlove; profile: string }> {
  glove = await startHostGlove(['--rate', '100', ...args]);
  folder = mkdtempSync(join(tmpdir(), 'tautline-check-'));
  const profile = join(folder, 'glove.yaml');
  writeFileSync(profile, hostGloveProfile(glove.pty));
  return { host: glove, profile };
}

it('passes a good glove, opened by its profile, in plain lines of 80 columns', async () => {
  const { host, profile } = await startGlove();
  const command = start(['check', '--profile', profile]);
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
  for (const line of stdout.split('\n')) {
    expect(line.length).toBeLessThanOrEqual(80);
    expect(line).toMatch(/^[\x20-\x7e]*$/);
  }
});

it('asks the running service, and names each of several faults, with exit code 1', async () => {
  const { host } = await startGlove();
  await host.command('fault intermittent thumb.curl');
  await host.command('fault short index.curl');
  await host.command('swap middle.curl ring.curl');
  await host.command('fault reversed little.curl');
  const service = await startServiceProcess(hostGloveProfile(host.pty));
  const command = start(['check', '--json', '--url', `http://127.0.0.1:${service.port}`]);
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
});
