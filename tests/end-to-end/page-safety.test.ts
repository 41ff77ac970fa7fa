import { copyFileSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it, onTestFinished } from 'vitest';
import { start } from '../commands/cli.js';
import { audit } from './audit.js';
import { openBrowser, openPage, type PageOptions } from './browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** What keeps a hand safe on the page: disarm over everything, cautions that are read, and what is no glove. */

let browser: Browser;
let service: ServiceProcess;
let sessions: string;

beforeAll(async () => {
  sessions = mkdtempSync(join(tmpdir(), 'tautline-page-'));
  copyFileSync('config/sessions/grasp.mcap', join(sessions, 'grasp.mcap'));
  [browser, service] = await Promise.all([
    openBrowser(),
    startServiceProcess(undefined, ['--sessions', sessions]),
  ]);
}, 60_000);
afterEach(async () => {
  for (const context of browser.contexts()) await context.close();
  for (const route of ['disarm', 'replay/close']) await post(route);
});
afterAll(async () => {
  await browser.close();
  await stopAllServices();
  rmSync(sessions, { recursive: true, force: true });
});

const post = (path: string) => fetch(`http://127.0.0.1:${service.port}/${path}`, { method: 'POST' });
const poll = <T>(read: () => T) => expect.poll(read, { timeout: 20_000, interval: 60 });

/** Arms, however near the last disarm was: right after one a glove refuses. */
const armed = (page: Page) =>
  poll(async () => {
    await service.arm();
    return page.getAttribute('.armbar', 'data-state');
  }).toBe('armed');
const disarmed = (page: Page) => page.waitForSelector('.armbar[data-state="free"]');
const isRead = (page: Page) => page.evaluate(() => localStorage.getItem('tautline.cautions'));
const dialogs = (page: Page) => page.locator('dialog[open]').count();

const PHONE: PageOptions = { width: 390, height: 844, touch: true };
const DESK: PageOptions = { width: 1280, height: 800 };

interface Pointer {
  down(x: number, y: number): Promise<unknown>;
  up(x: number, y: number): Promise<unknown>;
}
/** A finger on a phone, a mouse elsewhere. */
async function pointer(page: Page, { touch }: PageOptions): Promise<Pointer> {
  if (!touch) {
    return {
      down: (x, y) => page.mouse.move(x, y).then(() => page.mouse.down()),
      up: () => page.mouse.up(),
    };
  }
  const client = await page.context().newCDPSession(page);
  const send = (type: 'touchStart' | 'touchEnd', points: { x: number; y: number }[]) =>
    client.send('Input.dispatchTouchEvent', { type, touchPoints: points });
  return { down: (x, y) => send('touchStart', [{ x, y }]), up: () => send('touchEnd', []) };
}

const middle = async (page: Page, selector: string): Promise<[number, number]> => {
  const box = await page.locator(selector).boundingBox();
  if (!box) throw new Error(`${selector} is not there`);
  return [box.x + box.width / 2, box.y + box.height / 2];
};

declare global {
  interface Window {
    presses: string[];
  }
}

/** In the page: how a dialog stood when each press began. */
function notePresses(): void {
  window.presses = [];
  window.onpointerdown = () => {
    const actions = document.querySelector<HTMLElement>('dialog[open] .actions');
    window.presses.push(actions ? (actions.inert ? 'early' : 'late') : 'none');
  };
}

const READ = 'dialog[open] button.main';
const openers: [string, (page: Page) => Promise<unknown>][] = [
  ['keys', (page) => page.keyboard.press('?')],
  [
    'cautions',
    async (page) => {
      await page.keyboard.press('4');
      await page.focus('button.hold');
      await page.keyboard.press('Space');
    },
  ],
];

describe.each([
  ['by finger on a phone', PHONE],
  ['by mouse at a desk', DESK],
])('the page %s', (_, options) => {
  it('shows the cautions once the press is over, and no press that showed them answers them', async () => {
    const { page } = await openPage(browser, service.port, 'touch', options);
    const { down, up } = await pointer(page, options);
    // Where the answer will be, lies what is pressed: the worst place.
    await openers[1][1](page);
    await page.waitForSelector('dialog[open]');
    const [x, y] = await middle(page, READ);
    await page.keyboard.press('Escape');
    await poll(() => dialogs(page)).toBe(0);
    await page.evaluate((y) => {
      const hold = document.querySelector<HTMLElement>('button.hold');
      const box = hold?.getBoundingClientRect();
      if (!hold || !box) return;
      // Laid there, for the page cannot be scrolled so far on every screen.
      hold.style.position = 'fixed';
      hold.style.inset = `${y - box.height / 2}px 0 auto 0`;
    }, y);

    for (const heldMs of [0, 1500]) {
      for (let early = false; !early; ) {
        await page.evaluate(notePresses);
        await down(x, y);
        await page.waitForTimeout(heldMs);
        expect(await dialogs(page)).toBe(0);
        // The lift, an impatient second press, and a third that begins as early and ends late.
        await Promise.all([up(x, y), down(x, y), up(x, y), down(x, y)]);
        await page.waitForSelector('dialog[open] .actions:not([inert])');
        await up(x, y);
        await page.waitForTimeout(400);
        // On a machine that stalls they come too late to be early: then once more.
        early = (await page.evaluate(() => window.presses)).join() === 'none,early,early';
        if (early) expect([await dialogs(page), await isRead(page)]).toEqual([1, null]);
        await page.keyboard.press('Escape');
        await poll(() => dialogs(page)).toBe(0);
        if (early) expect(await isRead(page)).toBeNull();
        else await page.evaluate(() => localStorage.clear());
      }
    }
    expect(await page.getAttribute('.armbar', 'data-state')).toBe('free');

    await down(x, y);
    await up(x, y);
    await page.waitForSelector('dialog[open] .actions:not([inert])');
    await down(x, y);
    await up(x, y);
    await poll(() => dialogs(page)).toBe(0);
    expect(await isRead(page)).toBe('read');
    // Read, it is held as ever.
    await page.locator('button.hold').evaluate((hold) => hold.removeAttribute('style'));
    await page.locator('button.hold').scrollIntoViewIfNeeded();
    const at = await middle(page, 'button.hold');
    await down(...at);
    await page.waitForSelector('.armbar[data-state="armed"]');
    await up(...at);
  });

  it.each(openers)('disarms while a dialog is open: %s', async (_, open) => {
    const { page } = await openPage(browser, service.port, 'bench', options);
    const { down, up } = await pointer(page, options);
    await open(page);
    await page.waitForSelector('dialog[open]');
    await armed(page);
    const at = await middle(page, '.disarm');
    expect(await page.evaluate(([x, y]) => document.elementFromPoint(x, y)?.className, at)).toBe('disarm');
    await down(...at);
    await up(...at);
    await disarmed(page);
    // It answers nothing, and closes nothing.
    expect([await dialogs(page), await isRead(page)]).toEqual([1, null]);

    await armed(page);
    await page.keyboard.press('Escape');
    await disarmed(page);
    expect([await dialogs(page), await isRead(page)]).toEqual([0, null]);
  });

  it.each(openers)(
    'keeps the keyboard in a dialog and on the disarm bar, and reaches it there: %s',
    async (_, open) => {
      const { page } = await openPage(browser, service.port, 'bench', options);
      const before = await page.evaluate(() => document.body.dataset.part);
      await open(page);
      await page.waitForSelector('dialog[open] .actions:not([inert])');
      await armed(page);
      const part = await page.evaluate(() => document.body.dataset.part);
      const reached = new Set<string>();
      for (let i = 0; i < 12; i++) {
        await page.keyboard.press('Tab');
        reached.add(
          await page.evaluate(() => {
            const at = document.activeElement;
            return at === document.body
              ? 'page'
              : at?.closest('dialog, .armbar')
                ? `${at.className}`
                : 'outside';
          }),
        );
      }
      expect([...reached]).toEqual(expect.arrayContaining(['main', 'disarm']));
      expect(reached).not.toContain('outside');
      // Keys of the page mean nothing meanwhile.
      await page.keyboard.press('2');
      expect(await page.evaluate(() => document.body.dataset.part)).toBe(part);
      await page.focus('.disarm');
      await page.keyboard.press('Enter');
      await disarmed(page);
      await page.focus(READ);
      await page.keyboard.press('Enter');
      await poll(() => dialogs(page)).toBe(0);
      // And the keyboard is back where it was.
      if (before !== part) expect(await page.evaluate(() => document.activeElement?.className)).toBe('hold');
      await page.keyboard.press('1');
      expect(await page.evaluate(() => document.body.dataset.part)).toBe('bench');
    },
  );

  it('says over every part that a replay is no glove, and offers neither to arm nor to check or fit', async () => {
    const { page, complaints } = await openPage(browser, service.port, 'bench', options);
    expect(await page.isVisible('.strip')).toBe(false);
    await post('replay?name=grasp.mcap&loop=1');
    const strip = page.locator('.strip');
    await strip.waitFor();
    expect(await strip.textContent()).toContain('Replay of grasp, not the glove: no force is possible.');
    expect(await page.textContent('.status')).toBe('right: replay');
    const card = page.locator('article[data-hand="right"]').first();
    expect(await card.locator('h3').textContent()).toBe('Right hand: replay of grasp');
    expect(await card.locator('.played').textContent()).toContain('forces are not possible');
    expect(await page.textContent('.armbar-text')).toContain('no force is possible');
    for (const part of ['signals', 'fit', 'touch', 'sessions', 'apps']) {
      await page.click(`nav [data-part="${part}"]`);
      expect(await strip.isVisible()).toBe(true);
    }
    await page.click('nav [data-part="touch"]');
    await poll(() => page.textContent('.touch .felt')).toBe(
      'Not felt: this is a replay of grasp, and no force is possible.',
    );
    expect(await page.isDisabled('.touch .hold')).toBe(true);
    await page.click('nav [data-part="fit"]');
    expect(await page.locator('.guide-start .played').textContent()).toContain('nobody wears it');
    expect(await page.locator('.guide-start button:enabled').count()).toBe(0);
    expect(await page.locator('.shelf button:enabled').count()).toBe(0);
    // One that comes later sees the same.
    const later = await openPage(browser, service.port, 'fit', options);
    await later.page.locator('.strip').waitFor();
    expect(await later.page.locator('.guide-start button:enabled').count()).toBe(0);

    await page.getByRole('button', { name: 'Back to the glove' }).first().click();
    await strip.waitFor({ state: 'hidden' });
    expect(await page.locator('.guide-start button:enabled').count()).toBe(3);
    expect(await page.locator('.shelf button:enabled').count()).toBe(1);
    // The glove of this service moves by itself.
    expect(await page.textContent('.guide-start .played')).toContain('simulated and moves by itself');
    await page.click('nav [data-part="touch"]');
    await poll(() => page.isEnabled('.touch .hold')).toBe(true);
    expect(complaints).toEqual([]);
  });
});

it('says the same of a service that only replays, and offers no glove to go back to', async () => {
  const replay = start(['replay', 'config/sessions/everyday.mcap', '--loop', '--listen', '127.0.0.1:0']);
  onTestFinished(() => void replay.process.kill());
  const port = Number(/:(\d+)\/stream/.exec(await replay.said('/stream'))?.[1]);
  const { page } = await openPage(browser, port);
  await page.locator('.strip').waitFor();
  expect(await page.textContent('.strip p')).toContain('Replay of everyday, not the glove');
  expect(await page.textContent('.status')).toBe('left: replay · right: replay');
  // After the answer to what it asks.
  await page.waitForTimeout(500);
  expect(await page.isVisible('.strip button')).toBe(false);
});

it('says why the service does not go back to the glove, where it may not', async () => {
  const { page } = await openPage(browser, service.port);
  await post('replay?name=grasp.mcap&loop=1');
  await page.route('**/replay/close', (route) =>
    route.fulfill({ status: 403, json: { code: 'notPermitted', message: 'http may not record.' } }),
  );
  await page.click('.strip button');
  await poll(() => page.textContent('.strip p')).toBe('http may not record.');
});

it('says beside the finger that it stays free, why, and what to do', async () => {
  const profile = readFileSync('config/simulated.yaml', 'utf8');
  const strong = (role: string, text: string) =>
    text.replace(new RegExp(`role: ${role}, +kind: stringStop`), '$&, spoolRadiusMm: 10');
  const other = await startServiceProcess(strong('ring', strong('index', profile)));
  onTestFinished(() => other.stop());
  const { page, complaints } = await openPage(browser, other.port, 'bench', PHONE);
  const marked = () =>
    page
      .locator('.bench-part .chip:has(.unused:visible)')
      .evaluateAll((chips) => chips.map((chip) => (chip as HTMLElement).dataset.finger));
  await poll(marked).toEqual(['index', 'ring']);
  const SAYS = /^Index, ring stay free: the servo pulls up to 15 N .* Use a spoolRadiusMm of 18\.8 or more/;
  expect(await page.locator('.bench-part .unused-why li').allTextContents()).toEqual([
    expect.stringMatching(SAYS),
  ]);
  await page.click('nav [data-part="touch"]');
  await poll(() => page.locator('.touch .unused-why li').allTextContents()).toEqual([
    expect.stringMatching(SAYS),
  ]);
  const stop = (finger: string) => page.textContent(`.touch .forces tr[data-finger="${finger}"] .stop`);
  expect([await stop('index'), await stop('middle')]).toEqual(['⚠ free', 'free']);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBe(390);
  expect(await audit(page)).toEqual([]);
  expect(complaints).toEqual([]);
});

it('does not call what no finger can feel felt', async () => {
  const other = await startServiceProcess(
    readFileSync('config/simulated.yaml', 'utf8').replaceAll(
      'kind: stringStop',
      'kind: stringStop, spoolRadiusMm: 10',
    ),
  );
  onTestFinished(() => other.stop());
  const { page } = await openPage(browser, other.port, 'touch');
  await other.arm();
  await poll(() => page.textContent('.touch .felt')).toBe(
    'Not felt: every finger stays free. See why below.',
  );
});

it('has no accessibility fault with a dialog open, nor in a replay', async () => {
  const { page } = await openPage(browser, service.port, 'bench', DESK);
  const faults: string[] = [];
  for (const [name, open] of openers) {
    await open(page);
    await page.waitForSelector('dialog[open] .actions:not([inert])');
    faults.push(...(await audit(page)).map((line) => `${name}: ${line}`));
    await page.keyboard.press('Escape');
  }
  await post('replay?name=grasp.mcap&loop=1');
  await page.locator('.strip').waitFor();
  for (const part of ['bench', 'fit', 'touch']) {
    await page.click(`nav [data-part="${part}"]`);
    faults.push(...(await audit(page)).map((line) => `${part}: ${line}`));
  }
  expect(faults).toEqual([]);
});

it.each([
  [320, 640],
  [844, 390],
  [3840, 2160],
])(
  'on a screen of %d x %d every dialog fits over the disarm bar, and can be answered',
  async (width, height) => {
    const { page } = await openPage(browser, service.port, 'bench', { width, height });
    for (const [name, open] of openers) {
      await open(page);
      await page.waitForSelector('dialog[open] .actions:not([inert])');
      const [dialog, bar] = [
        await page.locator('dialog[open]').boundingBox(),
        await page.locator('.armbar').boundingBox(),
      ];
      expect([name, dialog && bar && dialog.y >= 0 && dialog.y + dialog.height <= bar.y]).toEqual([
        name,
        true,
      ]);
      expect(dialog && dialog.x >= 0 && dialog.x + dialog.width <= width).toBe(true);
      const at = await middle(page, '.disarm');
      expect(await page.evaluate(([x, y]) => document.elementFromPoint(x, y)?.className, at)).toBe('disarm');
      await page.click(READ);
      await poll(() => dialogs(page)).toBe(0);
    }
  },
);
