/**
 * Draws the sheet of docs/hand.md: the hand in twenty poses, from the palm and from the thumb's side, with the mesh of
 * the page, in a real browser.
 *
 *   npx tsx scripts/contact-sheet.ts [docs/hand-poses.png]
 */
import { statSync } from 'node:fs';
import { build } from 'esbuild';
import { JOINT_COUNT, POSE_STRIDE } from '../src/hand/index.js';
import { openBrowser } from '../tests/end-to-end/browser.js';
import { posed, sheetHand, sheetPoses } from './contact-sheet/poses.js';

const path = process.argv[2] ?? 'docs/hand-poses.png';
const MOST_BYTES = 400_000;
const [COLUMNS, SIZE, LINE] = [5, 150, 22];

const hand = sheetHand();
const { restPoses } = hand.skeleton;
const poses = sheetPoses(hand);
const { outputFiles } = await build({
  entryPoints: ['scripts/contact-sheet/scene.ts'],
  bundle: true,
  write: false,
  format: 'iife',
  target: 'es2022',
});
const browser = await openBrowser();
try {
  const rows = Math.ceil(poses.length / COLUMNS);
  const width = COLUMNS * 2 * SIZE;
  const height = rows * (SIZE + LINE);
  const page = await browser.newPage({ viewport: { width, height } });
  const labels = poses.map(({ name }, i) => {
    const left = (i % COLUMNS) * 2 * SIZE;
    const top = Math.floor(i / COLUMNS) * (SIZE + LINE) + SIZE;
    return `<p style="left:${left}px;top:${top}px">${name}</p>`;
  });
  await page.setContent(
    `<style>body{margin:0;background:#fff}canvas{display:block}
     p{position:absolute;margin:0;width:${2 * SIZE}px;height:${LINE}px;text-align:center;font:14px sans-serif;color:#222;background:#fff}
     </style>${labels.join('')}`,
  );
  await page.addScriptTag({ content: outputFiles[0].text });
  await page.evaluate((sheet) => (globalThis as unknown as { draw(sheet: unknown): void }).draw(sheet), {
    skeleton: {
      radiiM: Array.from({ length: JOINT_COUNT }, (_, joint) => restPoses[joint * POSE_STRIDE + 7]),
      restPoses: Array.from({ length: JOINT_COUNT }, (_, joint) =>
        Array.from(restPoses.subarray(joint * POSE_STRIDE, joint * POSE_STRIDE + 7)),
      ),
    },
    poses: poses.map((pose) => posed(hand, pose)),
    columns: COLUMNS,
    size: SIZE,
    line: LINE,
  });
  await page.screenshot({ path, timeout: 60_000 });
} finally {
  await browser.close();
}
const { size } = statSync(path);
console.log(`${path}: ${(size / 1000).toFixed(0)} kB`);
if (size > MOST_BYTES) {
  console.error(`It is to be at most ${MOST_BYTES / 1000} kB.`);
  process.exitCode = 1;
}
