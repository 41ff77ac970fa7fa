/**
 * Draws the sheet of the page's states for docs/page.md: one glove, two, none, a faulty one, one that holds, a replay, a
 * service that is gone, and every part; at 1280, 390 and 320 px, light and dark.
 *
 *   npm run build && npx tsx scripts/page-sheet.ts [docs/page-states.jpg] [folder for the single pictures]
 */
import { copyFileSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { openBrowser, openPage } from '../tests/end-to-end/browser.js';
import {
  hostGloveProfile,
  type ServiceProcess,
  startServiceProcess,
  stopAllServices,
} from '../tests/end-to-end/service.js';
import { type HostGlove, startHostGlove } from '../tests/firmware/host-glove.js';

const path = process.argv[2] ?? 'docs/page-states.jpg';
const folder = process.argv[3];
const MOST_BYTES = 500_000;
const QUALITY = 64;
const DESK = { width: 1280, height: 800, touch: false };
const PHONE = { width: 390, height: 844, touch: true };
const SMALL = { width: 320, height: 640, touch: true };
/** Of a picture on the sheet, px. */
const TILE = { desk: 440, phone: 172 };
const SETTLE_MS = 4000;

const simulated = readFileSync('config/simulated.yaml', 'utf8');
const glove = simulated.slice(simulated.indexOf('  - name: Simulated glove'));
const left = glove
  .replace('Simulated glove', 'Other glove')
  .replace('hand: right', 'hand: left')
  .replace('{ a: 0, b: 1, thumbstick: 2 }', '{ x: 0, y: 1, thumbstick: 2 }');

interface Shot {
  name: string;
  /** Of the service. */
  of: 'one' | 'two' | 'none' | 'faulty' | 'replay' | 'gone';
  part: string;
  size: typeof DESK;
  colorScheme: 'light' | 'dark';
  /** In a browser that gives no WebGL. */
  flat?: boolean;
  /** Before the picture is taken. */
  prepare?: (page: Page, service: ServiceProcess) => Promise<unknown>;
}

/** An app that stops the fingers, until they are held. */
async function hold(page: Page, service: ServiceProcess): Promise<void> {
  const app = await service.connect();
  await service.arm();
  const fingers = Object.fromEntries(
    ['thumb', 'index', 'middle', 'ring'].map((finger) => [finger, { stopAt: 0.35, effort: 0.6 }]),
  );
  const renew = setInterval(() => app.send({ type: 'resist', hand: 'right', fingers, ttlMs: 1000 }), 300);
  setTimeout(() => clearInterval(renew), 60_000).unref();
  await page.waitForFunction(
    () => [...document.querySelectorAll('.bench-part tr[data-held="true"]')].length >= 2,
    undefined,
    { timeout: 60_000 },
  );
}
async function plotted(page: Page): Promise<void> {
  await page.getByLabel('Plot', { exact: true }).selectOption('both');
  await page.waitForTimeout(500);
}

const shots: Shot[] = [
  { name: 'One glove', of: 'one', part: 'bench', size: DESK, colorScheme: 'light' },
  { name: 'Two gloves', of: 'two', part: 'bench', size: DESK, colorScheme: 'dark' },
  { name: 'No glove', of: 'none', part: 'bench', size: DESK, colorScheme: 'light' },
  { name: 'A loose wire', of: 'faulty', part: 'bench', size: DESK, colorScheme: 'dark' },
  { name: 'Armed and holding', of: 'one', part: 'bench', size: DESK, colorScheme: 'light', prepare: hold },
  { name: 'A replay', of: 'replay', part: 'bench', size: DESK, colorScheme: 'dark' },
  { name: 'The service is gone', of: 'gone', part: 'bench', size: DESK, colorScheme: 'light' },
  { name: 'Signals', of: 'one', part: 'signals', size: DESK, colorScheme: 'dark' },
  {
    name: 'Raw against fitted',
    of: 'one',
    part: 'signals',
    size: DESK,
    colorScheme: 'light',
    prepare: plotted,
  },
  { name: 'Fit', of: 'one', part: 'fit', size: DESK, colorScheme: 'dark' },
  { name: 'Touch', of: 'one', part: 'touch', size: DESK, colorScheme: 'light' },
  { name: 'Sessions', of: 'replay', part: 'sessions', size: DESK, colorScheme: 'dark' },
  { name: 'Apps', of: 'one', part: 'apps', size: DESK, colorScheme: 'light' },
  {
    name: 'Trying a servo',
    of: 'one',
    part: 'fit',
    size: DESK,
    colorScheme: 'light',
    prepare: async (page, service) => {
      await page.getByRole('button', { name: 'Try the servos' }).click();
      await service.arm();
      await page.getByRole('button', { name: 'Try the index servo' }).click();
      await page.locator('.servo-run').waitFor();
      await page.locator('.servo-bench').scrollIntoViewIfNeeded();
    },
  },
  {
    name: 'The profile',
    of: 'one',
    part: 'fit',
    size: DESK,
    colorScheme: 'dark',
    prepare: async (page) => {
      await page.getByRole('button', { name: 'Open the profile' }).click();
      await page.getByText('Nothing wrong with it.').waitFor();
      await page.locator('.profile-card').scrollIntoViewIfNeeded();
    },
  },
  { name: 'Without WebGL', of: 'two', part: 'bench', size: DESK, colorScheme: 'light', flat: true },
  { name: '390 px', of: 'one', part: 'bench', size: PHONE, colorScheme: 'light' },
  { name: 'A loose wire', of: 'faulty', part: 'bench', size: PHONE, colorScheme: 'dark' },
  { name: 'Touch', of: 'one', part: 'touch', size: PHONE, colorScheme: 'light' },
  { name: 'Signals', of: 'one', part: 'signals', size: PHONE, colorScheme: 'dark' },
  { name: 'A replay', of: 'replay', part: 'fit', size: PHONE, colorScheme: 'light' },
  { name: 'Two gloves', of: 'two', part: 'bench', size: PHONE, colorScheme: 'dark' },
  { name: 'No glove', of: 'none', part: 'bench', size: PHONE, colorScheme: 'light' },
  { name: 'Armed and holding', of: 'one', part: 'bench', size: PHONE, colorScheme: 'dark', prepare: hold },
  { name: '320 px', of: 'one', part: 'bench', size: SMALL, colorScheme: 'dark' },
  { name: 'No glove', of: 'none', part: 'bench', size: SMALL, colorScheme: 'light' },
  { name: 'A loose wire', of: 'faulty', part: 'bench', size: SMALL, colorScheme: 'dark' },
  { name: 'A replay', of: 'replay', part: 'bench', size: SMALL, colorScheme: 'light' },
  { name: 'Armed and holding', of: 'one', part: 'bench', size: SMALL, colorScheme: 'dark', prepare: hold },
  { name: 'Gone', of: 'gone', part: 'bench', size: SMALL, colorScheme: 'light' },
];

const sessions = mkdtempSync(join(tmpdir(), 'tautline-sheet-'));
copyFileSync('config/sessions/grasp.mcap', join(sessions, 'grasp.mcap'));
const browser = await openBrowser();
const plain = await openBrowser({ webgl: false });
const services = new Map<Shot['of'], ServiceProcess>();
let host: HostGlove | undefined;

async function serve(of: Shot['of']): Promise<ServiceProcess> {
  const known = services.get(of);
  if (known) return known;
  if (of === 'faulty') {
    host = await startHostGlove(['--rate', '100']);
    await host.command('sweep ring.curl 0 1 1500');
    await host.command('fault intermittent 8 ring.curl');
  }
  const profile = {
    one: undefined,
    two: `${simulated}\n${left}`,
    none: hostGloveProfile('/dev/tautline-nowhere'),
    faulty: host && hostGloveProfile(host.pty),
    replay: undefined,
    gone: undefined,
  }[of];
  const service = await startServiceProcess(profile, of === 'replay' ? ['--sessions', sessions] : []);
  if (of === 'replay') {
    await fetch(`http://127.0.0.1:${service.port}/replay?name=grasp.mcap&loop=1`, { method: 'POST' });
  }
  services.set(of, service);
  return service;
}

const tiles: string[] = [];
try {
  for (const { name, of, part, size, colorScheme, flat, prepare } of shots) {
    const service = await serve(of);
    const { page, complaints } = await openPage(flat ? plain : browser, service.port, part, {
      ...size,
      colorScheme,
    });
    if (of === 'faulty') await page.locator('.faults li').first().waitFor({ timeout: 60_000 });
    await page.waitForTimeout(SETTLE_MS);
    await prepare?.(page, service);
    if (of === 'gone') {
      await service.stop();
      services.delete(of);
      await page.waitForSelector('.banner:visible');
      await page.waitForTimeout(500);
    }
    const png = await page.screenshot({ timeout: 60_000 });
    const label = `${name}, ${size.width} px, ${colorScheme}`;
    if (folder) {
      mkdirSync(folder, { recursive: true });
      writeFileSync(join(folder, `${label.replaceAll(/\W+/g, '-')}-${part}.png`), png);
    }
    const width = size === DESK ? TILE.desk : TILE.phone;
    tiles.push(
      `<figure style="width:${width}px"><img width="${width}" src="data:image/png;base64,${png.toString('base64')}"><figcaption>${label}</figcaption></figure>`,
    );
    if (of !== 'gone' && complaints.length > 0) throw new Error(`${name}: ${complaints.join('\n')}`);
    await fetch(`http://127.0.0.1:${service.port}/disarm`, { method: 'POST' }).catch(() => {});
    await page.context().close();
  }
  const sheet = await browser.newPage({ viewport: { width: 3 * (TILE.desk + 16) + 16, height: 400 } });
  await sheet.setContent(
    `<style>body{margin:8px;background:#888;display:flex;flex-wrap:wrap}figure{margin:8px}img{display:block}
     figcaption{font:13px sans-serif;color:#fff;background:#333;padding:2px 6px}</style>${tiles.join('')}`,
  );
  await sheet.screenshot({ path, fullPage: true, type: 'jpeg', quality: QUALITY, timeout: 60_000 });
} finally {
  await browser.close();
  await plain.close();
  await stopAllServices();
  await host?.quit();
  rmSync(sessions, { recursive: true, force: true });
}
const { size } = statSync(path);
console.log(`${path}: ${(size / 1000).toFixed(0)} kB`);
if (size > MOST_BYTES) {
  console.error(`It is to be at most ${MOST_BYTES / 1000} kB.`);
  process.exitCode = 1;
}
