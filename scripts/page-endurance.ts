/**
 * Lets the page live through what a day brings: minutes of stream, reloads, two pages at once, a replay at 20 times
 * the pace, restarts of the service. Ends with 1 when anything grew, complained, or did not come back.
 *
 *   npx tsx scripts/page-endurance.ts [--minutes 10] [--reloads 100] [--restarts 5]
 */
import { copyFileSync, mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { parseArgs } from 'node:util';
import type { Page } from 'playwright-core';
import { openBrowser, openPage } from '../tests/end-to-end/browser.js';
import { startServiceProcess, stopAllServices } from '../tests/end-to-end/service.js';

const { values } = parseArgs({
  options: {
    minutes: { type: 'string', default: '10' },
    reloads: { type: 'string', default: '100' },
    restarts: { type: 'string', default: '5' },
  },
});
const [minutes, reloads, restarts] = [values.minutes, values.reloads, values.restarts].map(Number);
const faults: string[] = [];
const must = (holds: boolean, what: string): void => {
  console.log(`${holds ? 'holds ' : 'FAILED'}  ${what}`);
  if (!holds) faults.push(what);
};

/** The least of several moments: words that come and go with the health of a link are no growth. */
async function weigh(page: Page) {
  const all: Awaited<ReturnType<typeof weighNow>>[] = [];
  for (let n = 0; n < 5; n++) {
    all.push(await weighNow(page));
    await wait(300);
  }
  const least = (of: 'heapMB' | 'nodes' | 'listeners'): number => Math.min(...all.map((one) => one[of]));
  return { heapMB: least('heapMB'), nodes: least('nodes'), listeners: least('listeners') };
}

/** What is left after a collection: bytes of JavaScript, elements, listeners. */
async function weighNow(page: Page) {
  const cdp = await page.context().newCDPSession(page);
  await cdp.send('HeapProfiler.collectGarbage');
  await cdp.send('Performance.enable');
  const { metrics } = await cdp.send('Performance.getMetrics');
  await cdp.detach();
  const of = (name: string): number => metrics.find((metric) => metric.name === name)?.value ?? Number.NaN;
  // The events of a busy machine are more every minute, up to a limit: they are the page's work, and no growth.
  const events = await page.evaluate<number>(
    // An element, and about as many texts.
    "2 * document.querySelectorAll('.log-lines *').length",
  );
  return {
    heapMB: of('JSHeapUsedSize') / 1e6,
    nodes: of('Nodes') - events,
    listeners: of('JSEventListeners'),
  };
}
const text = ({ heapMB, nodes, listeners }: Awaited<ReturnType<typeof weigh>>): string =>
  `${heapMB.toFixed(2)} MB, ${nodes} nodes, ${listeners} listeners`;

const sessions = mkdtempSync(join(tmpdir(), 'tautline-endurance-'));
copyFileSync('config/sessions/grasp.mcap', join(sessions, 'grasp.mcap'));
const browser = await openBrowser();
let service = await startServiceProcess(undefined, ['--sessions', sessions]);
const { port } = service;
const url = `http://127.0.0.1:${port}`;
const apps = async (): Promise<number> =>
  ((await (await fetch(`${url}/health`)).json()) as { apps: unknown[] }).apps.length;
const connected = (page: Page) => page.waitForSelector('.status[data-connected="true"]', { timeout: 60_000 });

const first = await openPage(browser, port, 'bench');
const second = await openPage(browser, port, 'signals');
must((await apps()) === 2, 'two pages at once are two apps');
await wait(20_000);
const before = [await weigh(first.page), await weigh(second.page)];
console.log(`at the start:  ${before.map(text).join('  |  ')}`);
for (let minute = 1; minute <= minutes; minute++) {
  await wait(60_000);
  console.log(`after ${minute} min: ${text(await weigh(first.page))}  |  ${text(await weigh(second.page))}`);
}
const after = [await weigh(first.page), await weigh(second.page)];
after.forEach(({ heapMB, nodes, listeners }, i) => {
  must(
    heapMB - before[i].heapMB < 3,
    `page ${i + 1}: ${(heapMB - before[i].heapMB).toFixed(2)} MB more in ${minutes} min (under 3)`,
  );
  must(nodes - before[i].nodes < 50, `page ${i + 1}: ${nodes - before[i].nodes} nodes more (under 50)`);
  must(
    listeners === before[i].listeners,
    `page ${i + 1}: ${listeners - before[i].listeners} listeners more (none)`,
  );
});

await fetch(`${url}/replay?name=grasp.mcap&speed=20&loop=1`, { method: 'POST' });
await wait(10_000);
must(
  (await first.page.textContent('.status'))?.includes('replay') === true,
  'lives through a replay at 20 times the pace',
);
await fetch(`${url}/replay/close`, { method: 'POST' });

for (let n = 0; n < reloads; n++) {
  // Not until the load event: a debugging session like the one that weighs the page makes the tool miss it.
  await second.page.reload({ waitUntil: 'commit', timeout: 120_000 });
  await connected(second.page);
}
// The last socket of a page that went away may take a moment to be noticed.
for (let n = 0; n < 50 && (await apps()) > 2; n++) await wait(100);
must((await apps()) === 2, `${reloads} reloads leave no app behind`);
const reloaded = await weigh(second.page);
must(reloaded.heapMB - after[1].heapMB < 3, `after ${reloads} reloads: ${text(reloaded)}`);

for (let n = 0; n < restarts; n++) {
  await service.stop();
  service = await startServiceProcess(undefined, ['--sessions', sessions, '--listen', `127.0.0.1:${port}`]);
  await Promise.all([connected(first.page), connected(second.page)]);
}
must(true, `${restarts} restarts of the service: both pages came back by themselves`);
must(
  first.complaints.length + second.complaints.length === 0,
  `no complaint of either page ${[...first.complaints, ...second.complaints].slice(0, 3).join('; ')}`,
);
await browser.close();
await stopAllServices();
process.exit(faults.length === 0 ? 0 : 1);
