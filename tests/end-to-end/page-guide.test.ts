import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, it, type TestContext } from 'vitest';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { openBrowser, openPage } from './browser.js';
import { obey } from './prompted.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from './service.js';

/** The page against our firmware: a wearer who does what the page asks of him. */

let browser: Browser;
beforeAll(async () => {
  browser = await openBrowser();
});
afterAll(async () => {
  await browser.close();
  await stopAllServices();
});

async function visitGlove(
  part: string,
  { onTestFinished }: TestContext,
): Promise<{ host: HostGlove; page: Page }> {
  const host = await startHostGlove(['--rate', '100']);
  onTestFinished(async () => void (await host.quit()));
  const service = await startServiceProcess(hostGloveProfile(host.pty));
  // It would go on trying the port, and take the next glove that the system gives the same name.
  onTestFinished(() => service.stop());
  const { page } = await openPage(browser, service.port, part);
  // A page that goes on drawing takes the processor from the next one.
  onTestFinished(async () => void (await page.close()));
  await page.waitForFunction(() => document.querySelector('.status')?.textContent?.includes('Hz'));
  return { host, page };
}

const isSeen = (element: Element): boolean => {
  const { top, height } = element.getBoundingClientRect();
  return document.elementFromPoint(innerWidth * 0.75, top + height / 2)?.closest('.cm-content') !== null;
};
const focused = (page: Page) => page.evaluate(() => document.activeElement?.className);

/** Starts a run; again where it was refused, as on a busy machine whose glove was silent for a moment. */
async function begin(page: Page, label: string): Promise<void> {
  const run = page.locator('.guide-run');
  for (let visible = false; !visible; visible = await run.isVisible()) {
    await page.click(`text=${label}`, { timeout: 3000 }).catch(() => {});
    await run.waitFor({ timeout: 3000 }).catch(() => {});
  }
}

/** Does each move as the page shows it, until there is a result. */
async function follow(page: Page, host: HostGlove, { expect }: TestContext): Promise<string[]> {
  const prompts: string[] = [];
  for (;;) {
    const run = page.locator('.guide-run');
    if (!(await run.isVisible())) {
      if (prompts.length > 0) return prompts;
      await run.waitFor();
    }
    const prompt = (await page.textContent('.prompt')) ?? '';
    if (prompt !== '' && prompt !== prompts.at(-1)) {
      prompts.push(prompt);
      expect(await page.locator('.move-picture svg').count()).toBe(1);
      await obey(host, prompt);
    }
    await page.waitForTimeout(100);
  }
}

it.concurrent('leads through the check and says what is wrong, and what to do', async (test) => {
  const { expect } = test;
  const { host, page } = await visitGlove('fit', test);
  await host.command('fault reversed little.curl');
  await begin(page, 'Start the check');
  const prompts = await follow(page, host, test);
  expect(prompts).toHaveLength(10);
  const bad = page.locator('.finding[data-good="false"]', { hasText: 'Little curl' });
  expect(await bad.textContent()).toMatch(/Reversed.*Swap the outer two wires/);
  expect(await page.locator('.finding[data-good="true"] strong').allTextContents()).toEqual(
    expect.arrayContaining(['Thumb curl', 'Index curl', 'Middle curl', 'Ring curl']),
  );
  // What the remedy speaks of is one press away: the line of that channel, with the cursor on it.
  await bad.getByRole('button', { name: 'Open the profile' }).click();
  const line = page.locator('.profile-text .cm-activeLine');
  await expect.poll(() => line.textContent(), { timeout: 20_000 }).toContain('role: little.curl');
  await expect.poll(() => line.evaluate(isSeen)).toBe(true);
  // A check does not try servos, which it says, and leads there.
  const findings = page.locator('.findings');
  expect(await findings.textContent()).toContain('Servos: not tried by this check.');
  await findings.getByRole('button', { name: 'Try the servos' }).click();
  await page.locator('.servo-bench .servos').waitFor();
}, 180_000);

it.concurrent('leads through the fit, uses it, and undoes it; or gives up', async (test) => {
  const { expect } = test;
  const { host, page } = await visitGlove('fit', test);
  await host.command('range index.curl 900 2500');
  await begin(page, 'Start the fit');
  await page.click('text=Give up');
  await page.waitForSelector('text=Stopped by the wearer.');
  // The button that was pressed is gone: one goes on at what was found.
  await expect.poll(() => focused(page)).toBe('guide-results');
  await page.fill('#person', 'Kim');
  await begin(page, 'Start the fit');
  await follow(page, host, test);
  // The first range is 491 to 3604, and this one 900 to 2500: a fit that shows what it changes.
  const row = page.locator('.findings tbody tr', { hasText: 'Index curl' });
  expect(await row.locator('td').first().textContent()).toBe('491 to 3604');
  expect(await page.textContent('.fit-change')).toMatch(
    /^The ranges before read an open or a closed hand \d+ % of the way off \(median of 5 channels\)/,
  );
  await page.click('text=Use this fit');
  await page.waitForSelector('text=In use for Kim');
  await page.waitForSelector('.fits :text("in use: Kim")');
  // The range in use is the fitted one, at once.
  await page.keyboard.press('2');
  const ends = page.locator('[data-role="index.curl"] .ends');
  await expect.poll(() => ends.textContent(), { timeout: 20_000 }).toMatch(/^Range (8[5-9]|9[0-4])\d open/);
  await page.keyboard.press('3');
  await page.click('text=Undo the last fit');
  await page.waitForSelector('text=No fit is kept yet');
  // It can be used again, and is not said to be in use.
  await page.waitForSelector('text=The fit is ready');
  expect(await page.locator('text=In use for Kim').count()).toBe(0);
  await page.keyboard.press('2');
  await expect.poll(() => ends.textContent(), { timeout: 20_000 }).toMatch(/^Range 491 open/);
}, 240_000);

it.concurrent('shows a loose wire while it happens, with the remedy', async (test) => {
  const { expect } = test;
  const { host, page } = await visitGlove('signals', test);
  await host.command('sweep ring.curl 0 1 1500');
  await host.command('fault intermittent 8 ring.curl');
  // A wire that falls off now and then may look noisy or dead first, and well in between: its own verdict is awaited.
  const row = page.locator('[data-role="ring.curl"]', {
    has: page.locator('.verdict', { hasText: /^Loose contact$/ }),
  });
  const remedy = row.locator('.remedy', { hasText: 'press the plugs home' });
  await remedy.waitFor({ timeout: 60_000 });
  await page.keyboard.press('1');
  await expect
    .poll(() => page.locator('.bench-part [data-finger="ring"] .condition').textContent(), {
      timeout: 20_000,
    })
    .toBe('Guessed');
}, 120_000);
