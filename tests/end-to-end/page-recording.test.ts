import { mkdtempSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { openBrowser, openPage } from './browser.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

/** What the page says that it records is what it records, whatever is shown in place of the glove. */

let browser: Browser;
let folder: string;
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-recording-'));
  browser = await openBrowser();
});
afterAll(async () => {
  await browser.close();
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
});

it('says whether the glove or the simulated one is recorded, by keyboard alone', async () => {
  const profile = hostGloveProfile('/dev/tautline-nowhere');
  const { port } = await startServiceProcess(profile, ['--sessions', folder]);
  const post = (path: string) => fetch(`http://127.0.0.1:${port}${path}`, { method: 'POST' });
  const { page, complaints } = await openPage(browser, port, 'sessions');
  const state = page.locator('.card:has(.record) > p').first();
  const says = (text: string | RegExp) =>
    expect.poll(() => state.textContent(), { timeout: 20_000 }).toMatch(text);
  await says(/^Everything the glove sends, and what apps ask of it, goes into one file\.$/);
  await post('/simulate');
  await says(/^Everything the simulated glove sends, and what apps ask of it,/);
  await page.focus('.record');
  await page.keyboard.press('Enter');
  await says(/^● Recording the simulated glove 0:0\d, /);
  // What is recorded goes away: the recording is over, and kept.
  await post('/replay/close');
  await says(/^Everything the glove sends,/);
  expect(readdirSync(folder)).toHaveLength(1);
  await post(`/replay?name=${readdirSync(folder)[0]}&loop=1`);
  await says(/^Everything the glove itself sends, not the replay that is shown, goes into one file\.$/);
  await page.locator('.record').press('Enter');
  await says(/^● Recording the glove itself, not what is shown, 0:0\d, /);
  await page.locator('.record').press('Enter');
  await says(/^Everything the glove itself sends/);
  expect(complaints).toEqual([]);
}, 120_000);
