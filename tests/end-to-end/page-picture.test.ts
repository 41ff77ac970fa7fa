import { build } from 'esbuild';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { posed, sheetPoses } from '../../scripts/contact-sheet/poses.js';
import { createHandModel, JOINT_COUNT, POSE_STRIDE } from '../../src/hand/index.js';
import { VIEWS } from '../../src/page/scene/orbit.js';
import { openBrowser } from './browser.js';
import type { TipError, TipScene } from './picture/scene.js';

/** The hand in the picture is the hand that apps get: its fingertips end where joint and radius say. */

const browsers: Browser[] = [];
const pages = new Map<string, Page>();
/** How it is drawn: as a mesh, or flat where the browser gives no WebGL. */
const KINDS = ['mesh', 'flat'] as const;

beforeAll(async () => {
  const [{ outputFiles }, ...opened] = await Promise.all([
    build({
      entryPoints: ['tests/end-to-end/picture/scene.ts'],
      bundle: true,
      write: false,
      format: 'iife',
      target: 'es2022',
    }),
    openBrowser(),
    openBrowser({ webgl: false }),
  ]);
  browsers.push(...opened);
  for (const [i, kind] of KINDS.entries()) {
    const page = await opened[i].newPage({ viewport: { width: 1000, height: 900 } });
    await page.setContent('<!doctype html><body></body>');
    await page.addScriptTag({ content: outputFiles[0].text });
    pages.set(kind, page);
  }
}, 60_000);
afterAll(async () => {
  for (const browser of browsers) await browser.close();
});

const MOST_PX = 2;

const POSES = ['open', 'spread', 'at ease', 'fist', 'point', 'pinch, index'];

it.each(
  KINDS.flatMap((kind) =>
    (['right', 'left'] as const).flatMap((side) =>
      VIEWS.flatMap((view) => POSES.map((pose) => [kind, side, view, pose] as const)),
    ),
  ),
)(
  '%s: %s hand, view %s, %s: every tip is within 2 px of its joint and radius',
  async (kind, side, view, name) => {
    const page = pages.get(kind);
    if (!page) throw new Error(kind);
    const hand = createHandModel({ side });
    const { restPoses } = hand.skeleton;
    const pose = sheetPoses(hand).find((one) => one.name === name);
    if (!pose) throw new Error(name);
    const scene: TipScene = {
      side,
      view,
      poses: posed(hand, pose),
      skeleton: {
        lengthM: hand.skeleton.lengthM,
        breadthM: hand.skeleton.breadthM,
        radiiM: Array.from({ length: JOINT_COUNT }, (_, joint) => restPoses[joint * POSE_STRIDE + 7]),
        restPoses: Array.from({ length: JOINT_COUNT }, (_, joint) =>
          Array.from(restPoses.subarray(joint * POSE_STRIDE, joint * POSE_STRIDE + 7)),
        ),
      },
    };
    const errors = await page.evaluate(
      (of) => (globalThis as unknown as { tipErrors(of: TipScene): Promise<TipError[]> }).tipErrors(of),
      scene,
    );
    // Large enough for 2 px to mean something.
    for (const { radiusPx } of errors) expect(radiusPx).toBeGreaterThan(15);
    expect(errors.filter(({ errorPx }) => !(Math.abs(errorPx) <= MOST_PX))).toEqual([]);
  },
);
