import type { Browser } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { openBrowser, openPage } from './browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

let browser: Browser;
let service: ServiceProcess;

beforeAll(async () => {
  [browser, service] = await Promise.all([openBrowser(), startServiceProcess()]);
});
afterEach(async () => {
  await fetch(`http://127.0.0.1:${service.port}/disarm`, { method: 'POST' });
  for (const context of browser.contexts()) await context.close();
});
afterAll(async () => {
  await browser.close();
  await stopAllServices();
});

const armedHands = async (): Promise<boolean[]> => {
  const status = await (await fetch(`http://127.0.0.1:${service.port}/health`)).json();
  return (status as { gloves: { armed: boolean }[] }).gloves.map(({ armed }) => armed);
};
const arm = () => fetch(`http://127.0.0.1:${service.port}/arm`, { method: 'POST' });

describe('the page', () => {
  it('shows the live hand: curls change, every finger is sensed, nothing leaves the service', async () => {
    const { page, complaints } = await openPage(browser, service.port);
    const conditions = page.locator('.chip .condition');
    await expect.poll(() => conditions.allTextContents()).toEqual(Array(5).fill('Sensed'));
    const curls = page.locator('.chip .curl');
    const before = await curls.allTextContents();
    await expect.poll(() => curls.allTextContents(), { timeout: 10_000 }).not.toEqual(before);
    expect(complaints).toEqual([]);
  });

  it('disarms by the button and by Escape, from anywhere', async () => {
    const { page } = await openPage(browser, service.port);
    await arm();
    await page.waitForSelector('.armbar[data-state="armed"]');
    await page.click('.disarm');
    await page.waitForSelector('.armbar[data-state="free"]');
    expect(await armedHands()).toEqual([false]);
    await arm();
    await page.waitForSelector('.armbar[data-state="armed"]');
    await page.focus('.picture canvas');
    await page.keyboard.press('Escape');
    await page.waitForSelector('.armbar[data-state="free"]');
    expect(await armedHands()).toEqual([false]);
  });
});
