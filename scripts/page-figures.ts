/**
 * What the page costs: processor of the page and of the service while it is seen, at rest, without a glove and hidden,
 * first paint, frames, and what is loaded. By processor time, so that other work on the machine matters little. Linux.
 * The glove at rest is the firmware built for this machine (`make -C src/firmware/host`), with its usual noise.
 *
 *   npm run build && npx tsx scripts/page-figures.ts [--seconds 10]
 */
import { readdirSync, readFileSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { parseArgs } from 'node:util';
import type { Browser, Page } from 'playwright-core';
import { openBrowser } from '../tests/end-to-end/browser.js';
import { hidePage, showPage } from '../tests/end-to-end/hidden-page.js';
import {
  hostGloveProfile,
  type ServiceProcess,
  startServiceProcess,
  stopAllServices,
} from '../tests/end-to-end/service.js';
import { startHostGlove } from '../tests/firmware/host-glove.js';

const { values } = parseArgs({ options: { seconds: { type: 'string', default: '10' } } });
const SECONDS = Number(values.seconds);
const SIZE = { width: 1280, height: 800 };
/** Clock ticks a second of /proc on Linux. */
const TICKS = 100;

/** Seconds of processor that a process of this machine has used. */
function usedBy(pid: number): number {
  const [, rest] = readFileSync(`/proc/${pid}/stat`, 'utf8').split(') ');
  const fields = rest.split(' ');
  return (Number(fields[11]) + Number(fields[12])) / TICKS;
}

/** The same of the page's own process, and of the one that draws for it. */
async function usedByPage(browser: Browser): Promise<{ page: number; drawing: number }> {
  const session = await browser.newBrowserCDPSession();
  const { processInfo } = await session.send('SystemInfo.getProcessInfo');
  await session.detach();
  const of = (type: string): number =>
    processInfo.filter((one) => one.type === type).reduce((sum, { cpuTime }) => sum + cpuTime, 0);
  return { page: of('renderer'), drawing: of('GPU') };
}

async function open(browser: Browser, port: number, part: string): Promise<Page> {
  const page = await (await browser.newContext({ viewport: SIZE })).newPage();
  await page.goto(`http://127.0.0.1:${port}/#${part}`);
  await page.waitForSelector('.status[data-connected="true"]');
  return page;
}

/** Until strips are full, which move until then, and a hand that does not is known to rest. */
const SETTLED_MS = 12_000;

async function measure(name: string, webgl: boolean, service: ServiceProcess, part: string, hide: boolean) {
  const browser = await openBrowser({ webgl });
  try {
    const page = await open(browser, service.port, part);
    await wait(SETTLED_MS);
    if (hide) await hidePage(page);
    // As text: the tool that runs this script would put names of its own into it.
    const frames = () =>
      page.evaluate<number>(`new Promise((done) => {
        let count = 0;
        const next = () => { count++; requestAnimationFrame(next); };
        requestAnimationFrame(next);
        setTimeout(() => done(count), 1000);
      })`);
    const pid = service.process.pid ?? 0;
    const [before, served, startMs] = [await usedByPage(browser), usedBy(pid), performance.now()];
    await wait(SECONDS * 1000);
    const [after, served2, endMs] = [await usedByPage(browser), usedBy(pid), performance.now()];
    const share = (used: number): string => `${((used / ((endMs - startMs) / 1000)) * 100).toFixed(1)} %`;
    const shown = hide ? '-' : String(await frames());
    console.log(
      `| ${name} | ${share(after.page - before.page)} | ${share(after.drawing - before.drawing)} | ${share(served2 - served)} | ${shown} |`,
    );
    if (hide) console.log(`(seen again, it has a pose after ${(await showPage(page)).toFixed(0)} ms)`);
  } finally {
    await browser.close();
  }
}

const live = await startServiceProcess();
const none = await startServiceProcess(hostGloveProfile('/dev/tautline-nowhere'));
const host = await startHostGlove();
const still = await startServiceProcess(hostGloveProfile(host.pty));
try {
  const browser = await openBrowser();
  const paints: number[] = [];
  for (let n = 0; n < 5; n++) {
    const page = await open(browser, live.port, 'bench');
    await page.waitForFunction(() => performance.getEntriesByName('first-contentful-paint').length > 0);
    paints.push(
      await page.evaluate(() => performance.getEntriesByName('first-contentful-paint')[0].startTime),
    );
    await page.context().close();
  }
  await browser.close();
  paints.sort((a, b) => a - b);
  console.log(`first paint: ${paints.map((ms) => ms.toFixed(0)).join(', ')} ms`);
  for (const name of readdirSync('dist/page').filter((file) => file.endsWith('.gz'))) {
    console.log(`${name}: ${(statSync(join('dist/page', name)).size / 1000).toFixed(1)} kB`);
  }
  console.log('\n| | page | its drawing | service | frames a second |\n|---|---|---|---|---|');
  await measure('bench, live', true, live, 'bench', false);
  await measure('bench, live, drawn flat', false, live, 'bench', false);
  await measure('signals, live', true, live, 'signals', false);
  await measure('bench, glove at rest', true, still, 'bench', false);
  await measure('no glove', true, none, 'bench', false);
  await measure('no glove, signals', true, none, 'signals', false);
  await measure('hidden', true, live, 'bench', true);
} finally {
  await host.quit();
  await stopAllServices();
}
