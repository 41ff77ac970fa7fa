import type { Page } from 'playwright-core';
import { expect, it } from 'vitest';
import { openPage } from './browser.js';
import { armed, poll, servedPage } from './served-page.js';

/** What goes wrong in one place of the page stays there, and takes Disarm away nowhere. */

const served = servedPage({ webgl: false });

const disarmed = (page: Page) => page.waitForSelector('.armbar[data-state="free"]');
const isArmed = async () => {
  const health = await (await fetch(`http://127.0.0.1:${served.service.port}/health`)).json();
  return (health as { gloves: { armed: boolean }[] }).gloves.some((glove) => glove.armed);
};

/** By pointer, by Enter on the button, and by Escape. */
async function disarmsInEveryWay(page: Page): Promise<void> {
  for (const way of [
    () => page.click('.disarm', { timeout: 5000 }),
    () => page.focus('.disarm').then(() => page.keyboard.press('Enter')),
    () => page.keyboard.press('Escape'),
  ]) {
    await armed(served.service, page);
    await way();
    await disarmed(page);
    expect(await isArmed()).toBe(false);
  }
}

const failed = (page: Page, part: string) =>
  page.locator(`.panels [aria-labelledby="${part}-title"] .failed`);

it('disarms while a part throws as it is drawn, says so there, and shows it again when it no longer does', async () => {
  const { page, complaints } = await openPage(served.browser, served.service.port);
  await page.route('**/sessions', (route) =>
    route.fulfill({ json: { folder: 'there', simulated: false, sessions: [{ bytes: 1 }] } }),
  );
  await page.keyboard.press('5');
  await failed(page, 'sessions').waitFor();
  expect(await page.getByRole('alert').filter({ hasText: 'Sessions cannot be shown' }).count()).toBe(1);
  expect(await page.locator('#sessions-title').textContent()).toBe('Sessions');
  await disarmsInEveryWay(page);
  // It is reported where other errors go.
  expect(complaints.length).toBeGreaterThan(0);

  // The others know nothing of it.
  await page.keyboard.press('4');
  await page.getByText('Not felt: disarmed.').waitFor();
  await page.keyboard.press('1');
  await poll(() => page.locator('.bench-part .chip .condition').first().textContent()).toBe('Sensed');

  await page.unroute('**/sessions');
  await page.keyboard.press('5');
  await poll(async () => {
    const again = page.getByRole('button', { name: 'Try again' });
    if (await again.isVisible()) await again.click();
    return failed(page, 'sessions').count();
  }).toBe(0);
  expect(await page.getByRole('button', { name: 'Record', exact: true }).isVisible()).toBe(true);
});

it('disarms while what a fit found cannot be drawn, and shows the fits again when it can', async () => {
  const { page } = await openPage(served.browser, served.service.port);
  const guide = /\/guide\?/;
  await page.route(guide, (route) =>
    route.fulfill({ json: { hand: 'right', glove: 'there', state: 'done', task: 'fit', fit: {} } }),
  );
  await page.keyboard.press('3');
  await failed(page, 'fit').waitFor();
  expect(await page.locator('#fit-title').textContent()).toBe('Fit and check');
  await disarmsInEveryWay(page);

  await page.unroute(guide);
  await poll(async () => {
    const again = page.getByRole('button', { name: 'Try again' });
    if (await again.isVisible()) await again.click();
    return failed(page, 'fit').count();
  }).toBe(0);
  expect(await page.getByRole('button', { name: 'Start the check' }).isVisible()).toBe(true);
});

it('disarms where the picture and whole parts cannot be made, and shows the parts that can', async () => {
  const context = await served.browser.newContext();
  const page = await context.newPage();
  await page.addInitScript(() => {
    // Some break where they begin to watch their size.
    window.ResizeObserver = function broken() {
      throw new Error('nothing to watch with');
    } as unknown as typeof ResizeObserver;
  });
  await page.goto(`http://127.0.0.1:${served.service.port}/#bench`);
  await page.waitForSelector('.status[data-connected="true"]');
  expect(await page.locator('.picture .failed').textContent()).toContain('nothing to watch with');
  for (const [key, part] of [
    ['1', 'bench'],
    ['4', 'touch'],
  ]) {
    await page.keyboard.press(key);
    expect(await failed(page, part).isVisible()).toBe(true);
    await disarmsInEveryWay(page);
  }
  await page.keyboard.press('6');
  await page.locator('.app', { hasText: 'this page' }).waitFor();
});

it('disarms where nothing of the page can be shown but that', async () => {
  const context = await served.browser.newContext();
  const page = await context.newPage();
  await page.addInitScript(() => {
    history.replaceState = () => {
      throw new Error('no history');
    };
  });
  await page.goto(`http://127.0.0.1:${served.service.port}/#bench`);
  await page.getByRole('alert').filter({ hasText: 'The page cannot be shown: no history.' }).waitFor();
  await disarmed(page);
  await disarmsInEveryWay(page);
});
