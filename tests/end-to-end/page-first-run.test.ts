import type { Browser } from 'playwright-core';
import { afterAll, afterEach, beforeAll, expect, it } from 'vitest';
import { wearerHeaders } from '../stream/arm.js';
import { audit } from './audit.js';
import { openBrowser, openPage } from './browser.js';
import { hostGloveProfile, type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** What somebody without a glove finds on the page: something to do at once, without reading. */

let browser: Browser;
let service: ServiceProcess;

beforeAll(async () => {
  [browser, service] = await Promise.all([
    openBrowser(),
    startServiceProcess(hostGloveProfile('/dev/tautline-nowhere')),
  ]);
}, 60_000);
afterEach(async () => {
  for (const context of browser.contexts()) await context.close();
  await fetch(`http://127.0.0.1:${service.port}/replay/close`, { method: 'POST' });
});
afterAll(async () => {
  await browser.close();
  await stopAllServices();
});

const poll = <T>(read: () => T) => expect.poll(read, { timeout: 20_000, interval: 60 });
const DESK = { width: 1280, height: 800 };

it('has a moving hand two clicks away, that can be armed, and goes back to the glove that is not there', async () => {
  const { page, complaints } = await openPage(browser, service.port, 'bench', DESK);
  const card = page.locator('.first-steps article');
  await card.waitFor();
  expect(await card.locator('h3').textContent()).toBe('No glove is connected');
  await poll(() => card.textContent()).toContain('/dev/tautline-nowhere does not exist');
  await poll(() => card.textContent()).toMatch(/Serial ports of this machine|no serial port now/);
  expect(await audit(page)).toEqual([]);

  await page.getByRole('button', { name: 'Show a simulated glove' }).click();
  await poll(() => page.locator('.bench-part .condition').allTextContents()).toEqual(Array(5).fill('Sensed'));
  await card.waitFor({ state: 'detached' });
  await poll(() => page.textContent('.strip p')).toContain('A simulated glove, in place of yours');
  expect(await audit(page)).toEqual([]);
  await poll(async () => (await service.arm()).status).toBe(200);
  await page.waitForSelector('.armbar[data-state="armed"]');
  await page.getByRole('button', { name: 'Back to the glove' }).first().click();
  await card.waitFor();
  await page.waitForSelector('.armbar[data-state="free"]');
  expect(await page.isVisible('.strip')).toBe(false);
  expect(complaints).toEqual([]);
});

it('replays what comes with the program, labelled as a replay', async () => {
  const { page } = await openPage(browser, service.port, 'bench', { width: 390, height: 844, touch: true });
  await page.getByRole('button', { name: 'Replay everyday moves, both hands' }).click();
  await poll(() => page.textContent('.strip p')).toBe(
    'Replay of everyday, not the glove: no force is possible.',
  );
  await poll(() => page.locator('.bench-part .condition').first().textContent()).toBe('Sensed');
  expect(await page.locator('.first-steps article').count()).toBe(0);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBe(390);
});

it('says of a simulated glove that it is one, and how to connect another, when asked', async () => {
  const simulated = await startServiceProcess();
  const { page, complaints } = await openPage(browser, simulated.port, 'bench', DESK);
  expect(await page.locator('.first-steps article').count()).toBe(0);
  const ask = page.getByRole('button', { name: 'Simulated: connect yours' });
  await ask.click();
  const card = page.locator('.first-steps article');
  await poll(() => card.locator('h3').textContent()).toBe('This glove is simulated');
  expect(await card.textContent()).toContain('tautline new');
  // There is nothing that a simulated glove could stand in for.
  expect(await page.getByRole('button', { name: 'Show a simulated glove' }).count()).toBe(0);
  expect(await page.isVisible('.strip')).toBe(false);
  await card.getByRole('button', { name: 'Close' }).click();
  await card.waitFor({ state: 'detached' });
  expect(complaints).toEqual([]);
  await simulated.stop();
});

it('names the ports of the machine to the wearer alone', async () => {
  const url = `http://127.0.0.1:${service.port}`;
  const refused = await fetch(`${url}/ports`);
  expect([refused.status, ((await refused.json()) as { code: string }).code]).toEqual([403, 'notPermitted']);
  const granted = await fetch(`${url}/ports`, { headers: await wearerHeaders(url) });
  expect(await granted.json()).toMatchObject({ ports: expect.any(Array) });
});
