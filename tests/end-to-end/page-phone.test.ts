import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, it, onTestFinished } from 'vitest';
import { startHostGlove } from '../firmware/host-glove.js';
import { openBrowser, openPage } from './browser.js';
import { hostGloveProfile, type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The page on a phone, where picture and panel are scrolled as one. */

let browser: Browser;
let service: ServiceProcess;
beforeAll(async () => {
  [browser, service] = await Promise.all([openBrowser({ webgl: false }), startServiceProcess()]);
}, 60_000);
afterAll(async () => {
  await browser.close();
  await stopAllServices();
});

const onPhone = (part: string, width = 390, of = service) =>
  openPage(browser, of.port, part, { width, height: 844, touch: true });
const scrolled = (page: Page) => page.evaluate(() => document.querySelector('.bench')?.scrollTop ?? -1);
const toPart = (page: Page, name: string) => page.locator(`nav.parts [data-part="${name}"]`).click();

it('begins each part at its top', async () => {
  const { page } = await onPhone('fit');
  await page.locator('.profile-card').scrollIntoViewIfNeeded();
  expect(await scrolled(page)).toBeGreaterThan(300);
  for (const name of ['bench', 'fit', 'sessions', 'touch']) {
    await page.evaluate(() => document.querySelector('.bench')?.scrollTo(0, 400));
    await toPart(page, name);
    expect(await scrolled(page), name).toBe(0);
  }
});

it('goes to the card that it is led to', async () => {
  const host = await startHostGlove(['--rate', '100']);
  onTestFinished(async () => void (await host.quit()));
  const worn = await startServiceProcess(hostGloveProfile(host.pty));
  onTestFinished(() => worn.stop());
  const { page } = await onPhone('bench', 390, worn);
  await page.locator('.bench-part').getByRole('button', { name: 'Try the servos' }).click();
  await page.locator('.servo-bench .servos').waitFor();
  await expect.poll(() => scrolled(page)).toBeGreaterThan(300);
}, 60_000);

it.each([390, 320])('keeps the columns of numbers apart, %i px wide', async (width) => {
  const { page } = await onPhone('bench', width);
  const gaps = () =>
    page.evaluate(() => {
      const box = (element: Element | null | undefined) => {
        const range = document.createRange();
        if (element) range.selectNodeContents(element);
        return range.getBoundingClientRect();
      };
      // Text alone, as it is seen: what lies between two neighbours of a row.
      return [...document.querySelectorAll('.forces tbody tr')]
        .filter((row) => row.getBoundingClientRect().width > 0)
        .map((row) => {
          const cells = [...row.querySelectorAll('th, .condition, .curl, td.stop, td.tension, td.heat')];
          const plain = cells.length > 2 ? cells : [...row.children];
          const boxes = plain.map(box);
          return Math.min(...boxes.slice(1).map(({ left }, i) => left - boxes[i].right));
        });
    });
  await page.waitForFunction(() => /%/.test(document.querySelector('.forces .curl')?.textContent ?? ''));
  expect(Math.min(...(await gaps()))).toBeGreaterThanOrEqual(5);
  await toPart(page, 'fit');
  await page.waitForFunction(() =>
    /°/.test(document.querySelector('.measured td:last-child')?.textContent ?? ''),
  );
  expect(Math.min(...(await gaps()))).toBeGreaterThanOrEqual(5);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(width);
  expect(await page.textContent('.measured h3')).toBe('Hand model (default, not fitted)');
});
