/**
 * Takes the picture of the page that the README shows: the built service, its simulated glove, a ball in the palm.
 *
 *   npm run build && npx tsx scripts/picture.ts [docs/picture.png]
 */
import { statSync, writeFileSync } from 'node:fs';
import { setTimeout as wait } from 'node:timers/promises';
import { connect } from '../src/client/client.js';
import { openBrowser, openPage } from '../tests/end-to-end/browser.js';
import { startServiceProcess, stopAllServices } from '../tests/end-to-end/service.js';

const path = process.argv[2] ?? 'docs/picture.png';
/** A README is loaded over the network. */
const MOST_BYTES = 150_000;
/** Fingers held; how far the hand is closed at least; how little it may move in a step. */
const [GRASPED, CLOSED, STILL] = [4, 0.3, 0.05];
const STEP_MS = 150;
const PATIENCE_MS = 120_000;

const browser = await openBrowser();
const service = await startServiceProcess();
try {
  const { page, complaints } = await openPage(browser, service.port, 'touch', { width: 1280, height: 720 });
  const client = connect({ url: `http://127.0.0.1:${service.port}`, app: 'Picture' });
  let grasp = 0;
  client.on('inputs', ({ values }) => {
    grasp = Number(values['/user/hand/right/input/squeeze/value'] ?? grasp);
  });
  await service.arm();
  await page.waitForSelector('.armbar[data-state="armed"]');
  // From the thumb's side, half way to the palm: what the fingers close around is seen.
  await page.keyboard.press('s');
  await page.focus('.picture canvas');
  for (let n = 0; n < 3; n++) await page.keyboard.press('ArrowLeft');
  await page.keyboard.press('+');
  // The simulated wearer opens and closes the hand by himself: the picture is of a grasp that is at rest before and
  // after it is taken, as a picture takes its time and a busy machine lets the fingers go.
  const held = async (): Promise<boolean> =>
    (await page.locator('.touch .forces tr[data-held="true"]').count()) >= GRASPED &&
    grasp > CLOSED &&
    // Fingers that were inside when the glove was armed are not pulled out: no picture of a grasp.
    (await page.locator('.touch .why li', { hasText: 'behind the finger' }).count()) === 0;
  const until = Date.now() + PATIENCE_MS;
  for (let taken = false; !taken; await wait(STEP_MS)) {
    if (Date.now() > until) throw new Error('No grasp came to rest: the machine is too busy.');
    const before = grasp;
    await wait(STEP_MS);
    if (!(await held()) || Math.abs(grasp - before) > STILL) continue;
    const picture = await page.screenshot({ timeout: 60_000 });
    taken = (await held()) && Math.abs(grasp - before) <= STILL;
    if (taken) writeFileSync(path, picture);
  }
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
