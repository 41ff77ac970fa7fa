import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, it, type TestContext } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { audit } from './audit.js';
import { openBrowser, openPage } from './browser.js';
import { hidePage, showPage } from './hidden-page.js';
import { hostGloveProfile, type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The servo bench of the page, against our firmware: its fingers give way to its stops. */

let browser: Browser;
beforeAll(async () => {
  // Without WebGL: a picture that a processor draws lets a loaded machine drop what is held.
  browser = await openBrowser({ webgl: false });
}, 60_000);
afterAll(async () => {
  await browser.close();
  await stopAllServices();
});

async function visit(
  { onTestFinished }: TestContext,
  change: (profile: string) => string = (profile) => profile,
): Promise<{ host: HostGlove; page: Page; service: ServiceProcess; complaints: string[] }> {
  const host = await startHostGlove(['--rate', '100']);
  onTestFinished(async () => void (await host.quit()));
  // A machine that stalls with many tests delivers samples late.
  const profile = `${hostGloveProfile(host.pty)}\nsafety: { staleMs: 1000 }`;
  const service = await startServiceProcess(change(profile));
  onTestFinished(() => service.stop());
  const { page, complaints } = await openPage(browser, service.port, 'fit', { width: 1280, height: 800 });
  onTestFinished(async () => void (await page.close()));
  await page.waitForFunction(() => document.querySelector('.status')?.textContent?.includes('Hz'));
  await page.getByRole('button', { name: 'Try the servos' }).click();
  // It is gone: one goes on at what comes next.
  await page.waitForFunction(() => document.activeElement?.matches('.servo-bench button.hold'));
  return { host, page, service, complaints };
}

/** As the wearer does it on the page: cautions, then the button held down. */
async function armOnPage(page: Page): Promise<void> {
  await page.evaluate(() => localStorage.setItem('tautline.cautions', 'read'));
  const button = page.locator('.servo-bench button.hold');
  while ((await page.getAttribute('.armbar', 'data-state')) !== 'armed') {
    await button.scrollIntoViewIfNeeded();
    const box = await button.boundingBox();
    if (!box) continue;
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await page.mouse.down();
    await page.waitForTimeout(1600);
    await page.mouse.up();
    await page.waitForTimeout(400);
  }
}

/** Arms and tries; again where a machine that stalls let go of the finger, or lost samples of it, meanwhile. */
async function verdictOf(page: Page, host: HostGlove, finger: string): Promise<string> {
  for (let said = ''; ; ) {
    await armOnPage(page);
    said = await tryServo(page, host, finger);
    if (!/Not tried|not sensed/.test(said)) return said;
  }
}

/** What a prompt asks for, by the words that a person goes by. */
async function obey(host: HostGlove, finger: string, prompt: string): Promise<void> {
  const others = FINGERS.filter((one) => one !== finger);
  if (/close all the others/.test(prompt)) {
    for (const one of others) await host.command(`ramp ${one}.curl 1 2000`);
  } else if (/all fingers/.test(prompt)) {
    for (const one of FINGERS) await host.command(`ramp ${one}.curl 0 1000`);
  } else if (/close the/i.test(prompt)) await host.command(`ramp ${finger}.curl 1 2000`);
  // Who keeps pressing does what he did.
  else if (!/keep pressing/i.test(prompt)) await host.command(`ramp ${finger}.curl 0 2000`);
}

const TICK = '.servo-run .tick:is([style*="left: 35%"], [style*="left: 65%"])';

/** Does what the page asks for until the trial of this finger is over. @returns the result, as the page says it */
async function tryServo(page: Page, host: HostGlove, finger: string): Promise<string> {
  await page.getByRole('button', { name: `Try the ${finger} servo` }).click();
  const run = page.locator('.servo-run .prompt');
  await run.waitFor();
  let done = '';
  for (;;) {
    if (!(await run.isVisible())) break;
    const prompt = (await run.textContent({ timeout: 500 }).catch(() => '')) ?? '';
    if (prompt !== '' && prompt !== done) {
      done = prompt;
      // Where it is to be stopped is marked on the gauge.
      if (/until something stops it/.test(prompt)) await page.locator(TICK).waitFor();
      await obey(host, finger, prompt);
    }
    await page.waitForTimeout(60);
  }
  const row = page.locator('.servos li', { has: page.getByText(new RegExp(`^${finger}$`, 'i')) });
  const problem = await page.locator('.servo-bench .remedy').allTextContents();
  return [...problem, await row.locator('.servo-result').textContent()].join(' ');
}

const EXCHANGED = (profile: string) =>
  profile.replace(
    '{ role: middle, kind: stringStop }',
    '{ role: middle, kind: stringStop, stopAtOpen: 1, stopAtClosed: 0 }',
  );

/** Whatever it is given, its horn stays where the finger is free. */
const DEAD = (profile: string) =>
  profile.replace(
    '{ role: ring, kind: stringStop }',
    '{ role: ring, kind: stringStop, stopAtOpen: 0.99, stopAtClosed: 1 }',
  );

const MOVES =
  /^✓ Moves: stopped the finger at 3\d % \(asked: 35 %\), and let it go on at \d+\.\d curl\/s \(profile: 5\.0 curl\/s\)\.$/;

it('finds a servo that moves and one that is the wrong way round, and disarms what it armed', async (test) => {
  const { expect } = test;
  const { host, page, complaints } = await visit(test, EXCHANGED);
  // Nothing is tried before the wearer has armed.
  expect(await page.locator('.servos button:enabled').count()).toBe(0);
  expect(await audit(page)).toEqual([]);
  expect(await verdictOf(page, host, 'index')).toMatch(MOVES);
  await page.waitForSelector('.armbar[data-state="free"]');
  expect(await verdictOf(page, host, 'middle')).toMatch(/^⚠ Wrong way: /);
  expect(await audit(page)).toEqual([]);
  expect(complaints).toEqual([]);
}, 180_000);

it('finds a servo that does nothing, and ends when the wearer disarms', async (test) => {
  const { expect } = test;
  const { host, page, service } = await visit(test, DEAD);
  expect(await verdictOf(page, host, 'ring')).toMatch(/^⚠ Does not move: /);
  await page.waitForSelector('.armbar[data-state="free"]');
  // Between the servos and what is pressed next lies the button that arms, or its place.
  const room = () =>
    page.evaluate(() => {
      const [servos, actions] = ['.servos', '.actions'].map((of) =>
        document.querySelector(`.servo-bench ${of}`)?.getBoundingClientRect(),
      );
      return Math.round((actions?.top ?? 0) - (servos?.bottom ?? 0));
    });
  const before = await room();
  expect(before).toBeGreaterThan(80);
  await armOnPage(page);
  expect(await room()).toBe(before);
  expect(await page.getByRole('button', { name: 'Hold to arm' }).count()).toBe(0);
  await page.getByRole('button', { name: 'Try the index servo' }).click();
  await page.locator('.servo-run').waitFor();
  await page.keyboard.press('Escape');
  await page.getByText('Disarmed: begin again.').waitFor();
  expect(await page.locator('.servo-run').count()).toBe(0);
  // Leaving frees and disarms what was armed here.
  await armOnPage(page);
  await page.getByRole('button', { name: 'Try the index servo' }).click();
  await page.locator('.servo-run').waitFor();
  await page.keyboard.press('1');
  await page.waitForSelector('.armbar[data-state="free"]');
  const health = (await (await fetch(`http://127.0.0.1:${service.port}/health`)).json()) as {
    gloves: { armed: boolean }[];
  };
  expect(health.gloves.map(({ armed }) => armed)).toEqual([false]);
}, 180_000);

it('lets go when the page is hidden, where it hears nothing of the finger', async (test) => {
  const { expect } = test;
  const { host, page } = await visit(test);
  await armOnPage(page);
  await page.getByRole('button', { name: 'Try the index servo' }).click();
  const prompt = page.locator('.servo-run .prompt');
  const held = async (): Promise<boolean> =>
    (await host.ask<{ free: boolean }[]>('servos')).some(({ free }) => !free);
  for (let done = ''; !(await held()); await page.waitForTimeout(60)) {
    const said = (await prompt.textContent({ timeout: 500 }).catch(() => '')) ?? '';
    if (said !== '' && said !== done) await obey(host, 'index', said);
    done = said;
  }
  await hidePage(page);
  await expect.poll(held, { timeout: 1000 }).toBe(false);
  await page.waitForTimeout(500);
  expect(await held()).toBe(false);
  await showPage(page);
  await page.getByText('The page was hidden meanwhile: begin again.').waitFor();
  await page.waitForSelector('.armbar[data-state="free"]');
}, 120_000);

it('arms by a press that cannot be held in two steps, both of which say what they do', async (test) => {
  const { expect } = test;
  const { page } = await visit(test);
  const button = page.locator('.servo-bench button.hold');
  await button.waitFor();
  const described = await button.evaluate(
    (one) => document.getElementById(one.getAttribute('aria-describedby') ?? '')?.textContent,
  );
  expect(described).toContain('A press by a screen reader or by voice asks once more before it arms.');
  const state = () => page.getAttribute('.armbar', 'data-state');
  const press = () => button.evaluate((one) => (one as HTMLButtonElement).click());
  // First the cautions, as for everybody.
  await press();
  await page.waitForSelector('#cautions-title:visible');
  await page.waitForSelector('dialog[open] .actions:not([inert])');
  await page.getByRole('button', { name: 'I have read this' }).click();
  expect(await state()).toBe('free');
  // One press asks; it does not arm, and neither does an answer in the same breath.
  await press();
  await page.waitForSelector('#arm-title:visible');
  expect(await page.textContent('dialog[open] p')).toContain('apps can hold the fingers of the right hand');
  await page.waitForTimeout(1500);
  expect(await state()).toBe('free');
  await page.getByRole('button', { name: 'Not now' }).last().click();
  expect(await state()).toBe('free');
  await press();
  await page.waitForSelector('dialog[open] .actions:not([inert])');
  await page.getByRole('button', { name: 'Arm now' }).evaluate((one) => (one as HTMLButtonElement).click());
  await page.waitForSelector('.armbar[data-state="armed"]');
}, 60_000);
