import { readFileSync } from 'node:fs';
import type { Page } from 'playwright-core';
import { expect, it } from 'vitest';
import { openPage } from './browser.js';
import { poll, servedPage } from './served-page.js';

/** The plots as an instrument: what is read off them, and saved of them, is what the glove sent. */

const served = servedPage();

/** The signals of the page, once there are some seconds of them. */
async function plotted(seconds = 3) {
  const opened = await openPage(served.browser, served.service.port, 'signals', { width: 1280, height: 800 });
  await opened.page.waitForSelector('.plot canvas');
  await opened.page.waitForTimeout(seconds * 1000);
  return opened;
}
async function saved(page: Page, label: string): Promise<Buffer> {
  const [file] = await Promise.all([page.waitForEvent('download'), page.getByLabel(label).click()]);
  return readFileSync(await file.path());
}
async function csv(page: Page): Promise<{ heads: string[]; rows: (number | undefined)[][] }> {
  const [heads, ...rows] = (await saved(page, 'Save what is seen as CSV')).toString().trim().split('\r\n');
  return {
    heads: heads.split(','),
    rows: rows.map((row) => row.split(',').map((field) => (field === '' ? undefined : Number(field)))),
  };
}
const pause = (page: Page) => page.getByRole('button', { name: 'Pause', exact: true }).click();
const value = (page: Page, label: string) =>
  page.locator('.plot-lines li', { hasText: label }).locator('.value').textContent();

it('plots one channel raw against fitted, as the profile relates them', async () => {
  const { page, complaints } = await plotted();
  await page.getByLabel('Plot', { exact: true }).selectOption('both');
  await page.getByLabel('Of', { exact: true }).selectOption('index.curl');
  await poll(() => value(page, 'Index curl, raw')).toMatch(/^\d+ counts$/);
  await pause(page);
  const { heads, rows } = await csv(page);
  expect(heads).toEqual(['time [s]', '"Index curl', ' raw [counts]"', '"Index curl', ' fitted [%]"']);
  expect(rows.length).toBeGreaterThan(60);
  // The range of index.curl in config/simulated.yaml; the filter is late while the finger moves.
  const off = rows.map(([, raw = 0, fitted = 0]) => Math.abs(((raw - 610) / (3340 - 610)) * 100 - fitted));
  expect(off.sort((a, b) => a - b)[off.length >> 1]).toBeLessThan(2);
  const times = rows.map(([timeS = 1]) => timeS);
  expect(times).toEqual([...times].sort((a, b) => a - b));
  expect([Math.min(...times) >= -10, Math.max(...times)]).toEqual([true, 0]);
  expect(complaints).toEqual([]);
});

it('stands still when paused or zoomed, reads values at the cursor, and says the same in words', async () => {
  const { page } = await plotted();
  const plot = page.locator('.plot .u-over');
  const box = await plot.boundingBox();
  if (!box) throw new Error('no plot');
  // A drag over the newest fifth of ten seconds.
  const y = box.y + box.height / 2;
  await page.mouse.move(box.x + box.width * 0.8, y);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.99, y, { steps: 4 });
  await page.mouse.up();
  await page.getByRole('button', { name: 'Go on' }).waitFor();
  const seen = await csv(page);
  const times = seen.rows.map(([timeS = 0]) => timeS);
  expect(Math.min(...times)).toBeGreaterThan(-2.1);
  expect(Math.max(...times)).toBeLessThan(0);
  await page.waitForTimeout(400);
  expect(await csv(page)).toEqual(seen);

  // By keys, from the right end on: what is read there is what is saved.
  await page.mouse.move(box.x + box.width / 2, box.y - 60);
  await page.focus('.plot');
  for (let n = 0; n < 3; n++) await page.keyboard.press('ArrowLeft');
  await page.getByText('The plot in words').click();
  const caption = page.locator('.plot-card caption');
  await poll(() => caption.textContent()).toMatch(/cursor at −\d\.\d\d s$/);
  const atS = -Number(/cursor at −(\d\.\d\d) s/.exec((await caption.textContent()) ?? '')?.[1]);
  const nearest = seen.rows.find(([timeS = 0]) => Math.abs(timeS - atS) < 0.0051);
  const column = seen.heads.indexOf('Ring curl [%]');
  expect(await value(page, 'Ring curl')).toBe(`${nearest?.[column]?.toFixed(0)} %`.replace('-', '−'));
  const words = page.locator('.plot-card tbody tr', { hasText: 'Ring curl' });
  const ring = seen.rows.map((row) => row[column] ?? 0);
  expect(await words.locator('td').nth(1).textContent()).toBe(
    `${Math.min(...ring).toFixed(0)} %`.replace('-', '−'),
  );
  expect(await words.locator('td').nth(3).textContent()).toBe(`${Math.max(...ring).toFixed(0)} %`);

  await page.getByRole('button', { name: 'Zoom out' }).click();
  const wider = await csv(page);
  expect(wider.rows.length).toBeGreaterThan(seen.rows.length);
  await page.getByRole('button', { name: 'Go on' }).click();
  await poll(() => caption.textContent()).toContain('newest sample');
});

it('lays channels over each other, and saves the picture that is seen', async () => {
  const { page } = await plotted(1);
  await page.getByLabel('Thumb splay').check();
  await page.getByLabel('Little curl', { exact: true }).uncheck();
  await pause(page);
  expect((await csv(page)).heads).toEqual([
    'time [s]',
    ...['Thumb', 'Index', 'Middle', 'Ring'].map((finger) => `${finger} curl [%]`),
    'Thumb splay [%]',
  ]);
  const png = await saved(page, 'Save the plot as PNG');
  // The signature and the first chunk of PNG (W3C Recommendation, 5.2 and 11.2.1): width and height.
  expect(png.subarray(0, 8)).toEqual(Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]));
  expect(png.readUInt32BE(16)).toBeGreaterThan(1000);
  expect(png.readUInt32BE(20)).toBeGreaterThan(300);
});

it('plots curl, stop and tension of a finger that an app stops: tension is there only at the stop', async () => {
  const { page } = await plotted(1);
  const app = await served.service.connect();
  await served.service.arm();
  const renew = setInterval(() => {
    const fingers = { middle: { stopAt: 0.4, effort: 0.5 } };
    app.send({ type: 'resist', hand: 'right', fingers, ttlMs: 1000 });
  }, 300);
  try {
    await page.getByLabel('Plot', { exact: true }).selectOption('forces');
    await page.getByLabel('Of', { exact: true }).selectOption('middle');
    await poll(() => value(page, 'Middle stop')).toBe('40 %');
    await poll(() => value(page, 'Middle tension')).toMatch(/^[1-9]\.\d\d N$/);
    await pause(page);
    const { rows } = await csv(page);
    const taut = rows.filter(([, , , tension = 0]) => tension > 0);
    expect(taut.length).toBeGreaterThan(3);
    for (const [, curl = 0, stop = 100] of taut) expect(curl).toBeGreaterThan(stop - 6);
    const slack = rows.filter(([, curl = 0, stop = 100]) => curl < stop - 6);
    expect(slack.length).toBeGreaterThan(3);
    for (const [, , , tension] of slack) expect(tension).toBe(0);
  } finally {
    clearInterval(renew);
  }
  app.ws.close();
});

it('goes from view to view and from line to line while samples come, without a complaint', async () => {
  const { page, complaints } = await plotted(1);
  const lines = page.locator('.plot-lines li');
  for (const [view, count] of Object.entries({ link: 4, fitted: 12, both: 2, raw: 12, forces: 3 })) {
    await page.getByLabel('Plot', { exact: true }).selectOption(view);
    await poll(() => lines.count()).toBe(count);
    const first = page.locator('.plot-lines input').first();
    await first.uncheck();
    await poll(() => lines.first().locator('.value').textContent()).toBe('–');
    await page.getByRole('button', { name: 'Scale to data' }).click();
    await first.check();
    await poll(() => lines.first().locator('.value').textContent()).toMatch(/^(−?\d+(\.\d+)? \S+|–)$/);
  }
  expect(complaints).toEqual([]);
});

it('opens the plot of a channel from its line on the bench', async () => {
  const { page } = await openPage(served.browser, served.service.port, 'bench', { width: 1280, height: 800 });
  await page.locator('.line', { hasText: 'Ring splay' }).getByRole('button').click();
  expect(await page.getAttribute('body', 'data-part')).toBe('signals');
  await poll(() => value(page, 'Ring splay, raw')).toMatch(/^\d+ counts$/);
});

it('says how long poses take to the page, in figures that agree with the bench, and as bars', async () => {
  const { page, complaints } = await plotted();
  const card = page.locator('.delay-card');
  await poll(() => card.locator('.delay-line').textContent()).toMatch(
    /^Half within \d+\.\d ms, 95 of 100 within \d+\.\d ms, the longest \d+\.\d ms; \d+ poses, clocks known to ±\d+\.\d ms\.$/,
  );
  const said = (await card.locator('.delay-line').textContent()) ?? '';
  const [median, p95, most, count] = (said.match(/[\d.]+(?= ms[,;]| poses)/g) ?? []).map(Number);
  // Simulated motion, one machine: no pose comes before its sample by more than the clocks are off, none after minutes.
  expect(median).toBeGreaterThan(-5);
  expect([median <= p95, p95 <= most, most < 60_000, count > 50]).toEqual([true, true, true, true]);
  const drawn = () =>
    card.locator('canvas').evaluate((canvas: HTMLCanvasElement) => {
      const { data } = canvas.getContext('2d')?.getImageData(0, 0, canvas.width, canvas.height) ?? {
        data: [],
      };
      // The accent of the light theme: the bars.
      let bars = 0;
      for (let i = 0; i < data.length; i += 4)
        if (data[i] < 40 && data[i + 2] > 80 && data[i + 3] > 200) bars++;
      return bars;
    });
  await poll(drawn).toBeGreaterThan(50);
  await page.keyboard.press('1');
  await poll(() => page.locator('.link-line div', { hasText: 'Delay' }).locator('dd').textContent()).toMatch(
    /^\d+\.\d ms$/,
  );
  expect(complaints).toEqual([]);
});
