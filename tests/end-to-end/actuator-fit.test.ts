import { afterAll, it, type TestContext } from 'vitest';
import type { FitsAnswer } from '../../src/glove/kept-fits.js';
import type { GuideReport } from '../../src/guide/report.js';
import { FINGERS } from '../../src/hand/joints.js';
import { start } from '../commands/cli.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { wearerHeaders } from '../stream/arm.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

afterAll(stopAllServices);

const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** The host's finger closes fully at 3604 counts; a profile that calls 2981 closed calls 0.8 of that way closed. */
const HALF_CLOSED = 0.8;
const RANGE = { open: 491, closed: Math.round(491 + HALF_CLOSED * (3604 - 491)) };

interface Servo {
  name: string;
  free: boolean;
}

async function obey(host: HostGlove, prompt: string): Promise<void> {
  const finger = FINGERS.find((name) => prompt.includes(name));
  if (!finger) return;
  // The glove's own word for "closed": further, a wearer of this size does not go.
  const to = prompt.startsWith('Close') ? HALF_CLOSED : 0;
  await host.command(`ramp ${finger}.curl ${to} ${to > 0 ? 900 : 250}`);
}

async function startRun(fingers: readonly string[], { onTestFinished }: TestContext) {
  const host = await startHostGlove(['--physics', '--rate', '200', '--actuators', fingers.join(',')]);
  onTestFinished(async () => void (await host.quit()));
  // What the profile says of the stops is wrong, but for which is the greater.
  const profile = hostGloveProfile(host.pty, 'right', RANGE)
    .split('\n')
    .filter((line) => !line.includes('kind: stringStop'))
    .concat(fingers.map((role) => `      - { role: ${role}, stopAtOpen: 0.25, stopAtClosed: 0.6 }`));
  // A machine that stalls with many tests delivers samples late.
  const service = await startServiceProcess([...profile, 'safety: { staleMs: 1000 }'].join('\n'));
  onTestFinished(() => service.stop());
  const url = `http://127.0.0.1:${service.port}`;
  const headers = await wearerHeaders(url);
  const ask = async (method: string, path: string) => {
    const response = await fetch(`${url}${path}`, { method, headers });
    return { status: response.status, body: (await response.json()) as GuideReport & { message?: string } };
  };
  return { host, url, ask, service };
}

async function begun(ask: (method: string, path: string) => Promise<{ status: number; body: GuideReport }>) {
  for (;;) {
    const { status, body } = await ask('POST', '/guide?task=actuators&person=Kim');
    if (status === 200) return body;
    await pause(100);
  }
}

it('finds where the host glove stops, over HTTP; keeps it, uses it, undoes it', async (test) => {
  const { expect } = test;
  const fingers = ['index'];
  const { host, ask } = await startRun(fingers, test);
  let report = await begun(ask);
  expect(report.move?.prompt).toMatch(/arms the glove/);
  let shown = 0;
  while (report.state === 'running') {
    const { move } = report;
    if (move?.name === 'arm') await ask('POST', '/guide/next');
    else if (move && move.number !== shown) {
      shown = move.number;
      await obey(host, move.prompt);
    }
    await pause(40);
    report = (await ask('GET', '/guide')).body;
  }
  expect(report.state).toBe('done');
  expect(report.stops?.unfitted).toEqual([]);
  expect(report.stops?.fitted.map(({ role }) => role)).toEqual(fingers);
  for (const { stopAtOpen, stopAtClosed, residual } of report.stops?.fitted ?? []) {
    expect(Math.abs(stopAtOpen)).toBeLessThan(0.03);
    expect(Math.abs(stopAtClosed - HALF_CLOSED)).toBeLessThan(0.03);
    expect(residual).toBeLessThan(0.02);
  }
  // Nobody is held, and nobody can be: the run has disarmed.
  for (const { free } of await host.ask<Servo[]>('servos')) expect(free).toBe(true);
  expect((await ask('POST', '/guide/accept')).body.stops?.accepted).toBe(true);
  const listed = (await ask('GET', '/fits')).body as unknown as FitsAnswer;
  expect(listed.fits).toMatchObject([{ kind: 'actuators', actuators: 1, person: 'Kim', inUse: true }]);
  const undone = (await ask('POST', '/fits/undo')).body as unknown as FitsAnswer;
  expect(undone.fits).toMatchObject([{ inUse: false, undone: true }]);
}, 120_000);

it('is led by the command, armed by another terminal; disarming ends it at once', async (test) => {
  const { expect } = test;
  const { host, url, ask, service } = await startRun(['index'], test);
  await begun(ask);
  await ask('POST', '/guide/stop');
  const command = start(['fit', '--actuators', '--url', url]);
  // Whatever ends the command early says so, here.
  const ended = command.outcome.then(({ stdout, stderr }) => {
    throw new Error(`${stdout}${stderr}`);
  });
  ended.catch(() => {});
  await Promise.race([command.said('arms the glove'), ended]);
  // An arm within 0.25 s of the disarm that every run begins with is refused.
  while ((await ask('GET', '/guide')).body.move?.name === 'arm') {
    await service.arm();
    await pause(100);
  }
  await Promise.race([command.said('Close the index finger'), ended]);
  await fetch(`${url}/disarm`, { method: 'POST' });
  const { code, stdout, stderr } = await command.outcome;
  expect(code).not.toBe(0);
  expect(stderr).toMatch(/The fit ended early: Disarmed/);
  for (const line of stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
  for (const { free } of await host.ask<Servo[]>('servos')) expect(free).toBe(true);
  expect((await ask('GET', '/guide')).body.state).toBe('stopped');
}, 60_000);
