/**
 * Takes the picture of the page that the README shows: the built service with its simulated glove, on the bench.
 *
 *   npm run build && npx tsx scripts/picture.ts [docs/picture.jpg]
 */
import { statSync } from 'node:fs';
import { setTimeout as wait } from 'node:timers/promises';
import { connect } from '../src/client/client.js';
import { openBrowser, openPage } from '../tests/end-to-end/browser.js';
import { startServiceProcess, stopAllServices } from '../tests/end-to-end/service.js';

const path = process.argv[2] ?? 'docs/picture.jpg';
/** A README is loaded over the network. */
const MOST_BYTES = 150_000;
/** The lines of the channels have something to show by then. */
const SETTLE_MS = 5000;
const OPEN = 0.2;
const STEP_MS = 50;

const browser = await openBrowser();
const service = await startServiceProcess();
try {
  const { page, complaints } = await openPage(browser, service.port, 'bench', { width: 1280, height: 740 });
  const client = connect({ url: `http://127.0.0.1:${service.port}`, app: 'Picture' });
  let grasp = 1;
  client.on('inputs', ({ values }) => {
    grasp = Number(values['/user/hand/right/input/squeeze/value'] ?? grasp);
  });
  await page.keyboard.press('p');
  await wait(SETTLE_MS);
  while (grasp > OPEN) await wait(STEP_MS);
  await page.screenshot({ path, type: 'jpeg', quality: 85 });
  client.close();
  if (complaints.length > 0) throw new Error(complaints.join('\n'));
} finally {
  await browser.close();
  await stopAllServices();
}
const { size } = statSync(path);
console.log(`${path}: ${(size / 1000).toFixed(0)} kB`);
if (size > MOST_BYTES) {
  console.error(`It is to be at most ${MOST_BYTES / 1000} kB.`);
  process.exitCode = 1;
}
