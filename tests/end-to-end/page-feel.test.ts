import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, it, type TestContext } from 'vitest';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { trackedHand } from '../hand/tracked-hand.js';
import { audit } from './audit.js';
import { openBrowser, openPage, type PageOptions } from './browser.js';
import { hostGloveProfile, type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** How forces feel, compared on the page with our firmware: one finger, a drive that heeds effort. */

const folder = mkdtempSync(join(tmpdir(), 'tautline-page-feel-'));
let browser: Browser;
beforeAll(async () => {
  browser = await openBrowser({ webgl: false });
}, 60_000);
afterAll(async () => {
  await browser.close();
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
});
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

interface Visit {
  host: HostGlove;
  page: Page;
  service: ServiceProcess;
  complaints: string[];
  fits: string;
}
async function visit({ onTestFinished, task }: TestContext, options: PageOptions): Promise<Visit> {
  const host = await startHostGlove('--rate 200 --noise 1 --actuators index'.split(' '));
  onTestFinished(async () => void (await host.quit()));
  const name = task.id.replaceAll(/\W/g, '');
  const file = join(folder, `${name}.yaml`);
  const profile = hostGloveProfile(host.pty)
    .split('\n')
    .filter((line) => !line.includes('kind: stringStop'))
    .concat('      - { role: index, torqueControl: true }');
  writeFileSync(file, profile.join('\n'));
  const service = await startServiceProcess(undefined, ['--profile', file]);
  onTestFinished(() => service.stop());
  const { page, complaints } = await openPage(browser, service.port, 'fit', options);
  onTestFinished(async () => void (await page.close()));
  await page.evaluate(() => localStorage.setItem('tautline.cautions', 'read'));
  await page.waitForFunction(() => document.querySelector('.status')?.textContent?.includes('Hz'));
  return { host, page, service, complaints, fits: join(folder, `${name}.fits.json`) };
}

const run = (page: Page) => page.locator('.feel-run');

/** Again where it was refused: a busy machine may miss samples for a moment. */
async function begin(page: Page): Promise<void> {
  while (!(await run(page).isVisible())) {
    await page.getByRole('button', { name: 'Begin' }).click();
    await run(page)
      .waitFor({ timeout: 2000 })
      .catch(() => {});
  }
}

/** Holds the key down on the button that has the focus, as after Begin. */
async function armByKey(page: Page): Promise<void> {
  while ((await page.getAttribute('.armbar', 'data-state')) !== 'armed') {
    await page.locator('.feel-run button.hold').focus();
    await page.keyboard.down('Enter');
    await page.waitForTimeout(1500);
    await page.keyboard.up('Enter');
    await page.waitForTimeout(300);
  }
}

/** Closes the finger until the page says that it was felt; a leap on a busy machine is not believed, so it comes again. */
async function feel(page: Page, host: HostGlove, said: string): Promise<void> {
  const felt = page.getByText(said);
  while (!(await felt.isVisible())) {
    await host.command('ramp index.curl 0.1 400');
    await pause(700);
    await host.command('ramp index.curl 0.52 900');
    await felt.waitFor({ timeout: 4000 }).catch(() => {});
  }
}

const servo = async (host: HostGlove) =>
  (await host.ask<{ servo: string; effort: number; free: boolean }[]>('servos'))[0];

it('is compared by keyboard, without a word of which is which; what is kept is in use, on disk, and undone', async (test) => {
  const { expect } = test;
  const { host, page, service, complaints, fits } = await visit(test, { width: 1280, height: 800 });
  await page.getByRole('button', { name: 'Compare how forces feel' }).click();
  const card = page.locator('.feel-card');
  // Starting values with their reason, and what this actuator is not capable of.
  const effort = page.getByRole('radio', { name: /^Effort, how hard a stop holds/ });
  await effort.waitFor();
  expect(await effort.isChecked()).toBe(true);
  expect(await card.locator('.feel-what').textContent()).toMatch(
    /3 N of the .* N permitted.*common practice/,
  );
  expect(await page.getByRole('radio', { name: /^Slack.*Not with this actuator/ }).isDisabled()).toBe(true);
  expect(await page.getByRole('textbox', { name: 'One %' }).inputValue()).toBe('40');
  await page.getByLabel('The other').fill('90');
  await page.getByLabel('Rounds').fill('2');
  await page.getByLabel(/Whose hand/).fill('Kim');
  expect(await audit(page)).toEqual([]);
  await begin(page);

  // Disarmed, nothing is held and nothing counts as felt.
  await host.command('ramp index.curl 0.52 900');
  await pause(1500);
  expect((await servo(host)).free).toBe(true);
  await page.getByText('Still to feel before you choose: the first and the second.').waitFor();
  await host.command('ramp index.curl 0.1 400');
  expect(await audit(page)).toEqual([]);

  await armByKey(page);
  for (let round = 1; round <= 2; round++) {
    await page.getByText(`Round ${round} of 2: you feel the first.`).waitFor();
    await feel(page, host, 'Still to feel before you choose: the second.');
    const first = (await servo(host)).effort;
    expect(await page.getByRole('button', { name: 'The first is better' }).isDisabled()).toBe(true);
    // A digit is the comparison's own meanwhile, and chooses no part.
    await page.keyboard.press('2');
    await page.getByText(`Round ${round} of 2: you feel the second.`).waitFor();
    await feel(page, host, 'Both were felt.');
    const second = (await servo(host)).effort;
    expect(await run(page).textContent()).not.toMatch(/40|90|%/);
    // The one that presses less.
    const better = page.getByRole('button', { name: `The ${first < second ? 'first' : 'second'} is better` });
    await better.focus();
    await page.keyboard.press('Enter');
  }
  await page.getByText('40 % was chosen twice, 90 % 0 times.').waitFor();
  await page.waitForSelector('.armbar[data-state="free"]');
  expect((await servo(host)).free).toBe(true);
  expect(await audit(page)).toEqual([]);
  // What was found has the focus.
  expect(await page.evaluate(() => document.activeElement?.className)).toBe('feel-found');
  await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await page.getByText('✓ Kept for Kim, and in use.').waitFor();
  await page.getByText('In use for Kim: effort 40 %.').waitFor();
  await page.getByText('✓ in use: Kim, how forces feel').waitFor();
  const welcome = await (await service.connect()).until(({ type }) => type === 'welcome');
  expect(welcome).toMatchObject({ hands: [{ feel: { effort: 0.4 } }] });
  const { entries } = JSON.parse(readFileSync(fits, 'utf8')) as { entries: object[] };
  expect(entries).toMatchObject([
    { person: 'Kim', hand: 'right', feel: { effort: 0.4, tried: 'effort', chosen: [2, 0] } },
  ]);
  // Somebody keeps another fit meanwhile, by another way: it is the newest, and stays.
  const bones = await fetch(`http://127.0.0.1:${service.port}/fits/hand?person=Kim`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify(trackedHand(0.2, 0.3)),
  });
  expect(bones.status).toBe(200);
  await page.getByRole('button', { name: 'Undo', exact: true }).click();
  await page.getByText('✓ in use: Kim, how forces feel').waitFor({ state: 'detached' });
  await page.getByText('✓ in use: Kim, bones').waitFor();
  const kept = JSON.parse(readFileSync(fits, 'utf8')) as { entries: { undone?: true }[] };
  expect(kept.entries.map(({ undone = false }) => undone)).toEqual([true, false]);
  const after = await (await service.connect()).until(({ type }) => type === 'welcome');
  expect((after as { hands: { feel?: object }[] }).hands[0].feel ?? {}).toEqual({});
  expect(complaints).toEqual([]);
}, 180_000);

it('ends at once, finger free, when the wearer disarms or leaves; on a phone as well', async (test) => {
  const { expect } = test;
  const { host, page, service, complaints } = await visit(test, {
    width: 390,
    height: 844,
    touch: true,
    colorScheme: 'dark',
  });
  await page.getByRole('button', { name: 'Compare how forces feel' }).click();
  await page.getByRole('button', { name: 'Begin' }).waitFor();
  expect(await audit(page)).toEqual([]);
  await begin(page);
  await armByKey(page);
  await feel(page, host, 'Still to feel before you choose: the second.');
  expect((await servo(host)).free).toBe(false);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBe(390);
  expect(await audit(page)).toEqual([]);
  await page.keyboard.press('Escape');
  await page.getByText('Disarmed: nothing was changed.').waitFor();
  expect(await run(page).count()).toBe(0);
  expect((await servo(host)).free).toBe(true);
  const state = async () =>
    ((await (await fetch(`http://127.0.0.1:${service.port}/feel`)).json()) as { state: string }).state;
  await test.expect.poll(state).toBe('stopped');

  await begin(page);
  await armByKey(page);
  await page.getByRole('button', { name: 'Touch' }).click();
  await page.waitForSelector('.armbar[data-state="free"]');
  await test.expect.poll(state).toBe('stopped');
  expect(complaints).toEqual([]);
}, 180_000);

it('refuses values that no hand can tell apart, in one line', async (test) => {
  const { page } = await visit(test, { width: 1280, height: 800 });
  await page.getByRole('button', { name: 'Compare how forces feel' }).click();
  await page.getByLabel('The other').fill('41');
  await page.getByLabel('The other').press('Enter');
  await page
    .getByRole('alert')
    .filter({ hasText: /too near each other to be told apart/ })
    .waitFor();
}, 60_000);
