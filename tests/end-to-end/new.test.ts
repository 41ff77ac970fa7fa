import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { loadProfile } from '../../src/config/load.js';
import { FINGERS } from '../../src/hand/joints.js';
import { run, start } from '../commands/cli.js';
import { startHostGlove } from '../firmware/host-glove.js';
import { startTextGlove } from '../link/text-glove.js';
import { obeyPrompts } from './prompted.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

const CURLS = FINGERS.map((finger) => `${finger}.curl`).join(',');

afterAll(stopAllServices);
const folder = mkdtempSync(join(tmpdir(), 'tautline-new-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it.concurrent('writes a profile for a glove that it has never met, with which a check passes', async ({
  onTestFinished,
}) => {
  const host = await startHostGlove([...'--rate 100 --hand left --bits 10 --channels'.split(' '), CURLS]);
  onTestFinished(() => void host.quit());
  // Two potentiometers are wired the other way round.
  await host.command('range index.curl 820 190');
  await host.command('range ring.curl 700 130');
  const file = join(folder, 'met.yaml');
  const meeting = start(['new', file, '--port', host.pty, '--name', 'Blue glove']);
  const { prompts } = obeyPrompts(host, meeting.process.stdout!);
  void meeting.said('Stick to all sides').then(async () => {
    await host.command('button 3 1');
    await new Promise((resolve) => setTimeout(resolve, 200));
    await host.command('button 3 0');
  });
  const { code, stdout, stderr } = await meeting.outcome;
  expect(stderr).toBe('');
  expect(code).toBe(0);
  expect(prompts[0]).toMatch(/Keep still/);
  expect(stdout).toContain(`${file}: written. 5 channels, 5 actuators, 1 button.`);
  expect(stdout).toContain(`tautline check --profile ${file}`);
  for (const line of stdout.split('\n').filter((line) => !line.includes(file)))
    expect(line.length).toBeLessThanOrEqual(80);
  const profile = await loadProfile(file);
  const [glove] = profile.gloves;
  expect(glove).toMatchObject({ name: 'Blue glove', hand: 'left', buttons: { disarm: 3 } });
  const index = glove.channels.find(({ role }) => role === 'index.curl')!;
  expect(Math.abs(index.open - 820)).toBeLessThan(15);
  expect(Math.abs(index.closed - 190)).toBeLessThan(15);

  // As it was written, but for the stream: another service of this machine is none of its business.
  writeFileSync(file, `${readFileSync(file, 'utf8')}\nstream: { port: 0 }\n`);
  const check = start(['check', '--profile', file]);
  obeyPrompts(host, check.process.stdout!);
  const checked = await check.outcome;
  expect(checked.stdout.match(/^\w+\.curl +well/gm)).toHaveLength(5);
}, 200_000);

it.concurrent('overwrites nothing, and says what to do where there is no glove', async () => {
  const file = join(folder, 'mine.yaml');
  writeFileSync(file, 'mine');
  const kept = await run('new', file, '--simulated');
  expect(kept).toEqual({
    code: 6,
    stdout: '',
    stderr: `tautline: ${file} is there already. Name another file; nothing is overwritten.\n`,
  });
  expect(readFileSync(file, 'utf8')).toBe('mine');
  const missing = await run('new', join(folder, 'no.yaml'), '--port', '/dev/tautline-no-such-port');
  expect(missing.code).toBe(4);
  expect(missing.stderr).toMatch(/^tautline: .*no-such-port.*\n$/);
});

it.concurrent('writes what the simulated glove says of itself', async () => {
  const file = join(folder, 'simulated.yaml');
  const { code, stdout, stderr } = await run('new', file, '--simulated');
  expect([code, stderr]).toEqual([0, '']);
  expect(stdout).toMatch(/written\. \d+ channels, \d+ actuators/);
  const { gloves } = await loadProfile(file);
  expect(gloves[0].link).toMatchObject({ kind: 'simulated' });
});

it.concurrent('a running service says that a glove sends text, and the doctor ends with 1', async ({
  onTestFinished,
}) => {
  const glove = await startTextGlove((ms) => `${ms},1200,1300`);
  onTestFinished(() => glove.quit());
  const service = await startServiceProcess(hostGloveProfile(glove.pty));
  onTestFinished(() => service.stop());
  const url = `127.0.0.1:${service.port}`;
  let said = await run('status', '--url', url);
  for (let i = 0; i < 40 && !/sends\s+text/.test(said.stdout); i++) {
    await new Promise((resolve) => setTimeout(resolve, 250));
    said = await run('status', '--url', url);
  }
  expect(said.stdout.replace(/\n +/g, ' ')).toMatch(
    /link: Bytes come, but no frames: this glove sends text, such as/,
  );
  expect(said.code).toBe(1);
  const doctor = await run('doctor', '--url', url);
  expect(doctor.stdout.replace(/\n +/g, ' ')).toMatch(/WRONG +right hand, host glove, link: Bytes come/);
  expect(doctor.code).toBe(1);
  const check = await run('check', '--url', url);
  expect(check.stderr).toMatch(/^tautline: The glove does not answer: Bytes come, .*codec: \{ kind: lines/);
  // The cable is pulled.
  await glove.quit();
  let gone = await run('status', '--url', url);
  for (
    let i = 0;
    i < 40 && !/link: .*(does not exist|is gone)/.test(gone.stdout.replace(/\n +/g, ' '));
    i++
  ) {
    await new Promise((resolve) => setTimeout(resolve, 250));
    gone = await run('status', '--url', url);
  }
  expect(gone.code).toBe(1);
  expect(gone.stdout.replace(/\n +/g, ' ')).toMatch(/link: .*(does not exist|is gone)/);
}, 120_000);
