import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { audit } from './audit.js';
import { openBrowser, openPage } from './browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** The profile on the page: looked at, changed with its rules at hand, seen as a diff, saved. */

const TOKEN = 'token-of-an-app-012345';
const PROFILE = `${readFileSync('config/simulated.yaml', 'utf8')}
stream:
  permissions:
    apps: [{ name: Alpha, token: ${TOKEN}, may: [resist] }]
`;

let browser: Browser;
let service: ServiceProcess;
let folder: string;
let file: string;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-page-profile-'));
  file = join(folder, 'mine.yaml');
  writeFileSync(file, PROFILE);
  [browser, service] = await Promise.all([
    openBrowser({ webgl: false }),
    startServiceProcess(undefined, ['--profile', file]),
  ]);
}, 60_000);
afterAll(async () => {
  await browser.close();
  await stopAllServices();
  rmSync(folder, { recursive: true, force: true });
});

const poll = <T>(read: () => T) => expect.poll(read, { timeout: 20_000, interval: 60 });

async function opened(port: number) {
  const { page, complaints } = await openPage(browser, port, 'fit', { width: 1280, height: 800 });
  const loaded: string[] = [];
  page.on('request', (request) => loaded.push(new URL(request.url()).pathname));
  await page.getByRole('button', { name: 'Open the profile' }).click();
  await page.locator('.profile-text .cm-content').waitFor();
  return { page, complaints, loaded };
}
/** In the place of the first one found, as somebody types it. */
async function retype(page: Page, line: string, text: string): Promise<void> {
  await page.locator('.cm-line', { hasText: line }).first().click();
  await page.keyboard.press('End');
  await page.keyboard.press('Shift+Home');
  await page.keyboard.type(text);
}

it('shows the profile, says what is wrong as one types, shows what changes, and saves it with a backup', async () => {
  const { page, complaints, loaded } = await opened(service.port);
  // The editor is loaded now, not before.
  expect(loaded.some((path) => /^\/profile-editor-\w+\.js$/.test(path))).toBe(true);
  const card = page.locator('.profile-card');
  await card.getByText('Nothing wrong with it.').waitFor();
  expect(await card.textContent()).toContain(file);
  expect(await card.textContent()).not.toContain(TOKEN);
  const review = card.getByRole('button', { name: 'See what changes' });
  expect(await review.isDisabled()).toBe(true);
  expect(await audit(page)).toEqual([]);

  // Digits are text in here, not the keys of the page.
  await retype(page, 'name: Simulated right hand', 'name: 123');
  await card.locator('.profile-problems li').first().waitFor();
  const problem = card.locator('.profile-problems li').first();
  expect(await problem.textContent()).toMatch(/^⚠ Line \d+, name: /);
  expect(await review.isDisabled()).toBe(true);
  expect(await page.evaluate(() => document.body.dataset.part)).toBe('fit');
  await page.locator('.cm-lintRange-error').first().waitFor();

  await retype(page, 'name: 123', 'name: My right hand');
  await card.getByText('Nothing wrong with it.').waitFor();
  await review.click();
  await poll(() => card.locator('.cm-deletedChunk').textContent()).toContain('name: Simulated right hand');
  await poll(() => card.locator('.cm-changedLine').first().textContent()).toContain('name: My right hand');
  expect(await audit(page)).toEqual([]);
  expect(readFileSync(file, 'utf8')).toBe(PROFILE);
  await card.getByRole('button', { name: 'Save', exact: true }).click();
  await poll(() => card.locator('[role="status"]').textContent()).toMatch(
    /^Saved\. The old one is kept as .*\.bak\. It takes effect when the service starts again\.$/,
  );
  expect(readFileSync(file, 'utf8')).toBe(
    PROFILE.replace('name: Simulated right hand', 'name: My right hand'),
  );
  const [backup] = readdirSync(folder).filter((name) => name.endsWith('.bak'));
  expect(readFileSync(join(folder, backup), 'utf8')).toBe(PROFILE);
  expect(await page.getAttribute('.armbar', 'data-state')).toBe('free');
  await poll(() => card.textContent()).toContain('It was changed since this service started');

  // Somebody else writes it meanwhile: nothing of that is lost.
  writeFileSync(file, PROFILE);
  await retype(page, 'name: My right hand', 'name: Another');
  await card.getByText('Nothing wrong with it.').waitFor();
  await review.click();
  await card.getByRole('button', { name: 'Save', exact: true }).click();
  await poll(() => card.locator('[role="alert"]').textContent()).toContain('was changed by somebody else');
  expect(readFileSync(file, 'utf8')).toBe(PROFILE);

  const [download] = await Promise.all([
    page.waitForEvent('download'),
    card.getByRole('button', { name: 'Download' }).click(),
  ]);
  const saved = readFileSync(await download.path(), 'utf8');
  expect(saved).toContain('name: Another');
  expect(saved).not.toContain(TOKEN);
  await card.getByRole('button', { name: 'Drop my changes' }).click();
  await poll(() => card.locator('.cm-content').textContent()).toContain('name: Simulated right hand');
  expect(complaints.filter((line) => !/409/.test(line))).toEqual([]);
}, 60_000);

it('shows the profile of the simulated glove, which is not written', async () => {
  const own = await startServiceProcess();
  const { page } = await opened(own.port);
  const card = page.locator('.profile-card');
  await poll(() => card.textContent()).toContain('which comes with the program');
  await retype(page, 'name: Simulated right hand', 'name: Mine');
  await card.getByText('Nothing wrong with it.').waitFor();
  expect(await card.getByRole('button', { name: 'See what changes' }).count()).toBe(0);
  expect(await card.getByRole('button', { name: 'Download' }).isEnabled()).toBe(true);
  await own.stop();
});

it('says so where the editor does not come, and comes when it is tried again', async () => {
  const { page } = await openPage(browser, service.port, 'fit', { width: 1280, height: 800 });
  const card = page.locator('.profile-card');
  await page.route(/profile-editor-\w+\.js/, (route) => route.abort());
  await card.getByRole('button', { name: 'Open the profile' }).click();
  await poll(() => card.locator('[role="alert"]').textContent()).toMatch(/^The editor could not be loaded: /);
  const again = card.getByRole('button', { name: 'Try again' });
  await again.click();
  await again.waitFor();
  await page.unroute(/profile-editor-\w+\.js/);
  await again.click();
  await card.locator('.profile-text .cm-content').waitFor();
  expect(await card.locator('[role="alert"]').count()).toBe(0);
}, 60_000);
