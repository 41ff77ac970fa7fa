/**
 * Pictures of the hand for somebody to judge who does not know which is which: a fist, a pinch and an open hand, left and
 * right, as the page draws them by default. Names are shuffled; what is what stands in key.json.
 *
 *   npm run build && make -C src/firmware/host
 *   npx tsx scripts/judge-hands.ts FOLDER [--flat]
 */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { parseArgs } from 'node:util';
import { FINGERS } from '../src/hand/joints.js';
import { openBrowser, openPage } from '../tests/end-to-end/browser.js';
import { hostGloveProfile, startServiceProcess, stopAllServices } from '../tests/end-to-end/service.js';
import { startHostGlove } from '../tests/firmware/host-glove.js';

const { values, positionals } = parseArgs({
  options: { flat: { type: 'boolean', default: false } },
  allowPositionals: true,
});
const [folder] = positionals;
if (folder === undefined) throw new Error('Name the folder that the pictures go to.');

/** Curls of thumb to little finger. */
const POSES: Record<string, readonly number[]> = {
  fist: [1, 1, 1, 1, 1],
  pinch: [0.5, 0.5, 0, 0, 0],
  'open hand': [0, 0, 0, 0, 0],
};
const MOVE_MS = 600;
/** Until the picture is as the hand is, on a machine without a graphics card. */
const SETTLE_MS = 3000;

const browser = await openBrowser({ webgl: !values.flat });
const pictures: { what: string; png: Buffer }[] = [];
try {
  for (const side of ['left', 'right'] as const) {
    const host = await startHostGlove(['--rate', '100', '--hand', side]);
    const service = await startServiceProcess(hostGloveProfile(host.pty, side));
    const { page } = await openPage(browser, service.port, 'fit', { width: 1280, height: 800 });
    for (const [pose, curls] of Object.entries(POSES)) {
      for (const [i, finger] of FINGERS.entries())
        await host.command(`ramp ${finger}.curl ${curls[i]} ${MOVE_MS}`);
      await wait(MOVE_MS + SETTLE_MS);
      pictures.push({ what: `${side}, ${pose}`, png: await page.locator('.picture').screenshot() });
    }
    await page.close();
    await service.stop();
    await host.quit();
  }
} finally {
  await browser.close();
  await stopAllServices();
}

// Fisher and Yates.
for (let i = pictures.length - 1; i > 0; i--) {
  const j = Math.floor(Math.random() * (i + 1));
  [pictures[i], pictures[j]] = [pictures[j], pictures[i]];
}
mkdirSync(folder, { recursive: true });
const key: Record<string, string> = {};
for (const [i, { what, png }] of pictures.entries()) {
  const name = `${String.fromCharCode(97 + i)}.png`;
  writeFileSync(join(folder, name), png);
  key[name] = what;
}
writeFileSync(join(folder, 'key.json'), `${JSON.stringify(key, undefined, 2)}\n`);
console.log(`${pictures.length} pictures in ${folder}`);
