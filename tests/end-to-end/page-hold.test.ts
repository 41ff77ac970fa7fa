import type { Page } from 'playwright-core';
import { expect, it } from 'vitest';
import { openPage } from './browser.js';
import { hidePage } from './hidden-page.js';
import { servedPage } from './served-page.js';
import { startServiceProcess } from './service.js';

/** The button that arms: whatever takes pointer, focus or sight from it ends the hold, and it arms nothing. */

const served = servedPage({ webgl: false });

/** Longer than the button has to be held. */
const LONG_MS = 2000;

/** The part Touch, with the cautions read, and how often it asked the service to arm. */
async function openTouch(): Promise<{ page: Page; asked: () => number }> {
  const { page } = await openPage(served.browser, served.service.port, 'touch');
  await page.evaluate(() => localStorage.setItem('tautline.cautions', 'read'));
  let asked = 0;
  page.on('request', (request) => {
    if (new URL(request.url()).pathname === '/arm') asked++;
  });
  await page.waitForSelector('.touch .hold:enabled');
  await page.locator('.touch .hold').scrollIntoViewIfNeeded();
  return { page, asked: () => asked };
}
const holding = (page: Page) => page.waitForSelector('.touch .hold[data-holding]');

const byPointer = async (page: Page) => {
  await page.hover('.touch .hold');
  await page.mouse.down();
};
const byKey = async (page: Page) => {
  await page.focus('.touch .hold');
  await page.keyboard.down('Space');
};

const ends: [string, (page: Page) => Promise<unknown>, (page: Page) => Promise<unknown>][] = [
  ['the pointer is lifted', byPointer, (page) => page.mouse.up()],
  ['the pointer leaves it', byPointer, (page) => page.mouse.move(5, 5)],
  [
    'the pointer is taken away by the system',
    byPointer,
    (page) => page.locator('.touch .hold').dispatchEvent('pointercancel'),
  ],
  ['the key comes up', byKey, (page) => page.keyboard.up('Space')],
  ['another key is pressed', byKey, (page) => page.keyboard.press('a')],
  ['the focus goes elsewhere', byKey, (page) => page.focus('.theme')],
  [
    'the window loses the focus',
    byPointer,
    (page) => page.evaluate(() => window.dispatchEvent(new Event('blur'))),
  ],
  ['the page is hidden, by pointer', byPointer, hidePage],
  ['the page is hidden, by key', byKey, hidePage],
  ['the wearer disarms', byKey, (page) => page.keyboard.press('Escape')],
];

it.each(ends)('arms nothing when %s', async (_, begin, end) => {
  const { page, asked } = await openTouch();
  await begin(page);
  await holding(page);
  await end(page);
  await page.waitForFunction(() => !document.querySelector('.touch .hold[data-holding]'));
  await page.waitForTimeout(LONG_MS);
  expect(asked()).toBe(0);
});

it.each([
  ['says so', false],
  ['says nothing of it to what is hidden', true],
])('arms nothing once its part is left, where the browser %s', async (_, silent) => {
  const { page, asked } = await openTouch();
  await byPointer(page);
  await holding(page);
  await page.evaluate((silent) => {
    for (const type of silent ? ['blur', 'pointerleave', 'pointercancel'] : []) {
      window.addEventListener(type, (event) => event.stopImmediatePropagation(), { capture: true });
    }
    // By a script, as voices and switches do: no pointer leaves, no key is pressed.
    document.querySelector<HTMLElement>('nav [data-part="apps"]')?.click();
  }, silent);
  await page.waitForTimeout(LONG_MS);
  expect(asked()).toBe(0);
});

it('arms nothing when the service goes away meanwhile', async () => {
  const other = await startServiceProcess();
  const { page } = await openPage(served.browser, other.port, 'touch');
  await page.evaluate(() => localStorage.setItem('tautline.cautions', 'read'));
  let asked = 0;
  page.on('request', (request) => {
    if (/\/(arm|wearer)$/.test(new URL(request.url()).pathname)) asked++;
  });
  await page.waitForSelector('.touch .hold:enabled');
  await byKey(page);
  await holding(page);
  other.process.kill('SIGKILL');
  await page.waitForSelector('.touch .hold:disabled');
  await page.waitForTimeout(LONG_MS);
  expect(asked).toBe(0);
});

it('arms once it is held for long enough, and asks but once', async () => {
  const { page, asked } = await openTouch();
  await byPointer(page);
  await page.waitForSelector('.armbar[data-state="armed"]');
  await page.waitForTimeout(LONG_MS);
  expect(asked()).toBe(1);
});
