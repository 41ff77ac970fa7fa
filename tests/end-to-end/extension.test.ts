import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import type { Server } from 'node:http';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import {
  openPopup,
  openWithExtension,
  type Seen,
  seenBy,
  serveSite,
  type WithExtension,
} from './extension/open.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/**
 * The browser extension in a real Chromium, on somebody's page, with a headset emulated by the package `iwer`.
 * In this order: each part begins with what the one before has left, as it is for a user.
 */

let config: string;
let site: { server: Server; origin: string };
let browser: WithExtension;
let service: ServiceProcess;
const troubles: string[] = [];
const pages: Page[] = [];

const startService = (port = 0) =>
  startServiceProcess(undefined, ['--listen', `127.0.0.1:${port}`], { XDG_CONFIG_HOME: config });

beforeAll(async () => {
  config = mkdtempSync(join(tmpdir(), 'tautline-config-'));
  [site, service] = await Promise.all([serveSite(), startService()]);
  browser = await openWithExtension(site.origin);
}, 300_000);
afterEach(async () => {
  for (const page of pages.splice(0)) await page.close();
});
afterAll(async () => {
  await browser?.close();
  await stopAllServices();
  site?.server.close();
  rmSync(config, { recursive: true, force: true });
});

const poll = <T>(look: () => Promise<T> | T) => expect.poll(look, { timeout: 20_000 });
const hands = async (page: Page): Promise<Seen['hands']> => (await seenBy(page)).hands;

/** Somebody's page. */
async function openWorld(query = ''): Promise<Page> {
  const page = await browser.context.newPage();
  pages.push(page);
  page.on('pageerror', ({ message }) => troubles.push(message));
  page.on('console', (message) => {
    if (message.type() === 'error' && !message.text().includes('404')) troubles.push(message.text());
  });
  await page.goto(`${site.origin}/world${query}`);
  return page;
}
/** The same, in its world. */
async function enter(query = ''): Promise<Page> {
  const page = await openWorld(query);
  await page.click('#enter');
  await poll(async () => (await seenBy(page)).frames ?? 0).toBeGreaterThan(2);
  return page;
}
async function popupOver(page: Page | undefined, answers?: { permit: boolean }): Promise<Page> {
  const popup = await openPopup(browser, page, answers);
  pages.push(popup);
  await popup.waitForFunction(() => !document.querySelector('#service')?.textContent?.startsWith('Looking'));
  return popup;
}
async function switchSite(on: boolean): Promise<void> {
  const page = await openWorld();
  const popup = await popupOver(page);
  const toggle = popup.locator('#switch');
  if ((await toggle.getAttribute('aria-pressed')) !== String(on)) await toggle.click();
  await poll(() => toggle.getAttribute('aria-pressed')).toBe(String(on));
}
const asked = (): Promise<{ asking: unknown[]; paired: { origin: string }[] }> =>
  fetch(`http://127.0.0.1:${service.port}/pairings`).then((answer) => answer.json() as never);

/** Screenshots are kept where SCREENSHOTS says, for people to look at. */
async function keep(page: Page, name: string): Promise<void> {
  const folder = process.env.SCREENSHOTS;
  if (folder) await page.screenshot({ path: `${folder}/${name}.png` });
}
const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
async function barriers(page: Page): Promise<string[]> {
  await page.evaluate(axe);
  return page.evaluate(async () => {
    const { axe } = globalThis as unknown as { axe: { run(): Promise<{ violations: { id: string }[] }> } };
    return (await axe.run()).violations.map(({ id }) => id);
  });
}

/** What a script tries that wants to be the wearer: the key, the key's header, and a form without either. */
async function confirmByScript({ address, code }: { address: string; code: string }): Promise<string[]> {
  const body = JSON.stringify({ code });
  const outcome = (asked: Promise<Response>) =>
    asked.then(
      ({ ok, type }) => (type === 'opaque' ? type : ok ? 'done' : 'refused'),
      () => 'refused',
    );
  const json = { 'content-type': 'application/json', 'tautline-wearer': 'guessed' };
  return [
    await outcome(fetch(`${address}/wearer`)),
    await outcome(fetch(`${address}/pairings/confirm`, { method: 'POST', headers: json, body })),
    await outcome(fetch(`${address}/pairings/confirm`, { method: 'POST', mode: 'no-cors', body })),
  ];
}

describe('before anything is switched on', () => {
  it('a page has what the browser has', async () => {
    const page = await enter();
    expect(await hands(page)).toEqual({ left: null, right: null });
    const old = await openWorld('?old&required');
    await old.click('#enter');
    await poll(async () => (await seenBy(old)).error).toContain('NotSupportedError');
  });

  it('the window names the site and says that no service answers', async () => {
    const popup = await popupOver(await openWorld());
    expect(await popup.textContent('#site')).toBe(site.origin);
    expect(await popup.textContent('#site-note')).toBe('Off.');
    expect(await popup.textContent('#service')).toContain('No service answers at 127.0.0.1:7117.');
    expect(await popup.isVisible('#pair')).toBe(false);
  });

  it('a page of the browser itself can have no gloves', async () => {
    const popup = await popupOver(undefined);
    expect(await popup.textContent('#site-note')).toContain('not a page that can have gloves');
    expect(await popup.isVisible('#switch')).toBe(false);
  });

  it('without the browser’s permission the site stays off', async () => {
    const popup = await popupOver(await openWorld(), { permit: false });
    await popup.click('#switch');
    await poll(() => popup.textContent('#site-note')).toContain('Without the permission');
    expect(await popup.getAttribute('#switch', 'aria-pressed')).toBe('false');
    expect(await hands(await enter())).toEqual({ left: null, right: null });
  });
});

describe('switched on, and not paired', () => {
  it('a page keeps what the browser has, and the service lets nobody see', async () => {
    const popup = await popupOver(await openWorld());
    await popup.fill('#port', '70000');
    await popup.click('#port-form button');
    await poll(() => popup.textContent('#service')).toContain('1 to 65535');
    await popup.fill('#port', String(service.port));
    await popup.click('#port-form button');
    await poll(() => popup.textContent('#service')).toContain('Pair it once');
    await switchSite(true);
    const page = await enter();
    await new Promise((resolve) => setTimeout(resolve, 1000));
    expect(await hands(page)).toEqual({ left: null, right: null });
    const { apps } = (await (await fetch(`http://127.0.0.1:${service.port}/health`)).json()) as {
      apps: unknown[];
    };
    expect(apps).toEqual([]);
  });

  it('is paired by the code that the wearer types on the page of the service', async () => {
    const window = await browser.context.newPage();
    pages.push(window);
    await window.setViewportSize({ width: 420, height: 260 });
    await window.goto(`chrome-extension://${browser.id}/pairing.html`);
    await window.waitForSelector('#code:visible');
    const code = (await window.textContent('#code'))!;
    expect(code).toMatch(/^\d{3} \d{3}$/);
    expect(await window.getAttribute('#open', 'href')).toBe(`http://127.0.0.1:${service.port}/#apps`);
    await keep(window, 'pairing');
    expect(await barriers(window)).toEqual([]);

    // Neither a page nor the extension itself confirms it, though they know the code; and none frames our page.
    const address = `http://127.0.0.1:${service.port}`;
    const attempt = { address, code };
    const outside = await browser.context.newPage();
    pages.push(outside);
    const said: string[] = [];
    outside.on('console', (message) => void said.push(message.text()));
    await outside.goto(`${site.origin}/plain`);
    expect(await outside.evaluate(confirmByScript, attempt)).toEqual(['refused', 'refused', 'opaque']);
    expect(await window.evaluate(confirmByScript, attempt)).toEqual(['refused', 'refused', 'opaque']);
    await outside.evaluate(
      (url) =>
        new Promise((resolve) => {
          const frame = document.createElement('iframe');
          frame.onload = resolve;
          frame.src = url;
          document.body.append(frame);
        }),
      `${address}/#apps`,
    );
    const framed = outside.frames().find((frame) => frame !== outside.mainFrame())!;
    expect(await framed.locator('#pairing-code').count()).toBe(0);
    await poll(() => said.join()).toContain('frame-ancestors');
    expect((await asked()).paired).toEqual([]);

    const bench = await browser.context.newPage();
    pages.push(bench);
    await bench.goto(`${address}/#apps`);
    const card = bench.locator('.extensions');
    await card.locator('.pairing').waitFor();
    expect(await card.locator('.pairing .id').textContent()).toBe(browser.id);
    expect(await window.textContent('#own')).toBe(browser.id);
    await card.scrollIntoViewIfNeeded();
    const wrong = `${code.slice(0, -1)}${(Number(code.at(-1)) + 1) % 10}`;
    await bench.fill('#pairing-code', wrong);
    await card.getByRole('button', { name: 'Pair' }).click();
    await poll(() => card.locator('.said').textContent()).toContain('No extension shows this code');
    await bench.fill('#pairing-code', code);
    await keep(bench, 'pairing-bench');
    expect(await barriers(bench)).toEqual([]);
    await card.getByRole('button', { name: 'Pair' }).click();
    await poll(() => card.locator('.said').textContent()).toBe('Paired.');
    await poll(() => window.textContent('#state')).toContain('Paired');
    await card.locator('.app').waitFor();
    await keep(bench, 'paired-bench');
    expect((await asked()).paired).toEqual([
      { origin: `chrome-extension://${browser.id}`, since: expect.any(String) },
    ]);
  });
});

describe('switched on and paired', () => {
  it('a page that was never made for gloves has the glove’s hand, where the controller is', async () => {
    const page = await enter();
    await poll(async () => (await hands(page)).right?.size).toBe(25);
    const { right, left } = await hands(page);
    expect(left).toBe(null);
    expect(right).toMatchObject({ own: false, filled: true, filledRadii: true, finite: true });
    for (const [i, v] of right!.wrist.entries()) expect(v).toBeCloseTo(right!.grip[i], 5);
    expect(right!.grip[0]).toBeCloseTo(0.2, 1);
    const reach = Math.hypot(...right!.tip.map((v, i) => v - right!.wrist[i]));
    // From wrist to finger tip, open or closed, of a hand that is 0.19 m long.
    expect(reach).toBeGreaterThan(0.04);
    expect(reach).toBeLessThan(0.21);
    expect(right!.radius).toBeGreaterThan(0.004);
    // It moves: the simulated hand never rests for long.
    const tip = right!.tip;
    await poll(async () => {
      const now = (await hands(page)).right!.tip;
      return Math.hypot(...now.map((v, i) => v - tip[i]));
    }).toBeGreaterThan(0.02);
    // The wearer sees who sees.
    const { apps } = (await (await fetch(`http://127.0.0.1:${service.port}/health`)).json()) as {
      apps: { name: string; streams: string[] }[];
    };
    expect(apps).toMatchObject([{ name: new URL(site.origin).host, streams: ['joints'] }]);
  });

  it('the window says so', async () => {
    const popup = await popupOver(await openWorld());
    expect(await popup.textContent('#site-note')).toContain('On');
    expect(await popup.textContent('#service')).toContain('Connected');
    expect(await popup.isVisible('#pair')).toBe(false);
    await keep(popup, 'popup');
    expect(await barriers(popup)).toEqual([]);
  });

  it('a page that already has hands keeps that of the side without a glove', async () => {
    const page = await enter('?hands');
    await poll(async () => (await hands(page)).right?.own).toBe(false);
    const { left, right } = await hands(page);
    expect(left).toMatchObject({ size: 25, own: true, filled: true, filledRadii: true, finite: true });
    expect(right).toMatchObject({ size: 25, own: false, filled: true, filledRadii: true, finite: true });
    expect((await seenBy(page)).sources).toEqual(['left', 'right']);
  });

  it('a page that requires hands gets in without a browser that has them', async () => {
    const page = await enter('?old&required');
    // Pages look there first. (The emulated session drops a source whose `hand` it did not put there itself.)
    await poll(async () => (await seenBy(page)).features).toContain('hand-tracking');
    expect((await seenBy(page)).error).toBeUndefined();
  });

  it('a page that asks for no hands gets none', async () => {
    const page = await enter('?without');
    await new Promise((resolve) => setTimeout(resolve, 500));
    expect(await hands(page)).toEqual({ left: null, right: null });
  });

  it('a page without worlds is left alone', async () => {
    const page = await browser.context.newPage();
    pages.push(page);
    const errors: string[] = [];
    page.on('pageerror', ({ message }) => errors.push(message));
    await page.addInitScript(() => Object.defineProperty(navigator, 'xr', { value: undefined }));
    await page.goto(`${site.origin}/plain`);
    await page.click('p');
    expect(await page.evaluate(() => (navigator as { xr?: unknown }).xr)).toBeUndefined();
    expect(errors).toEqual([]);
  });

  it('a page gives the service no order, whatever it sends down the channel', async () => {
    await service.arm('right');
    const page = await openWorld();
    const said = await page.evaluate(async () => {
      const { port1, port2 } = new MessageChannel();
      const texts: string[] = [];
      const opened = new Promise<void>((resolve) => {
        port1.onmessage = ({ data }) => {
          if (typeof data === 'string') texts.push(data);
          else if (data.opened) resolve();
        };
      });
      window.postMessage('tautlineGloves', '/', [port2]);
      await opened;
      const sphere = { kind: 'sphere', radius: 0.03 };
      const send = (message: object) => port1.postMessage(JSON.stringify(message));
      send({ type: 'touch', id: 1, hand: 'right', shape: sphere, position: [0, -0.04, -0.03] });
      send({ type: 'resist', id: 2, hand: 'right', fingers: { index: { stopAt: 0, effort: 1 } } });
      send({ type: 'arm', id: 3 });
      send({ type: 'subscribe', id: 4, app: 'Bench page', streams: ['signals', 'health'] });
      send({ type: 'ping', id: 5 });
      await new Promise<void>((resolve) => {
        const look = () =>
          texts.some((text) => JSON.parse(text).id === 5) ? resolve() : void setTimeout(look, 20);
        look();
      });
      return texts.map((text) => JSON.parse(text) as { type: string; id?: number });
    });
    expect(said.filter(({ id }) => id !== undefined).map(({ id }) => id)).toEqual([4, 5]);
    expect(said.every(({ type }) => ['welcome', 'ack'].includes(type))).toBe(true);
    const { apps } = (await (await fetch(`http://127.0.0.1:${service.port}/health`)).json()) as {
      apps: { name: string; streams: string[] }[];
    };
    expect(apps).toMatchObject([{ name: new URL(site.origin).host, streams: ['joints'] }]);
    await fetch(`http://127.0.0.1:${service.port}/disarm`, { method: 'POST' });
  });

  it('a page that opens channels without end leaves room for other apps', async () => {
    const page = await openWorld();
    const outcomes = await page.evaluate(() =>
      Promise.all(
        Array.from(
          { length: 30 },
          () =>
            new Promise<string>((resolve) => {
              const { port1, port2 } = new MessageChannel();
              port1.onmessage = ({ data }) =>
                resolve(data.opened ? 'opened' : String(data.closed?.[1] ?? 'opened'));
              window.postMessage('tautlineGloves', '/', [port2]);
            }),
        ),
      ),
    );
    expect(outcomes.filter((outcome) => outcome === 'opened')).toHaveLength(8);
    expect(outcomes.filter((outcome) => outcome.includes('too many connections'))).toHaveLength(22);
  });

  it('the browser stops the extension’s worker, as it does when it likes: the hand comes back', async () => {
    const page = await enter();
    await poll(async () => (await hands(page)).right?.size).toBe(25);
    const appNow = async () => {
      const answer = await fetch(`http://127.0.0.1:${service.port}/health`);
      return ((await answer.json()) as { apps: { app: string }[] }).apps.map(({ app }) => app).join();
    };
    const before = await appNow();
    const own = await browser.context.newPage();
    pages.push(own);
    await own.goto(`chrome-extension://${browser.id}/popup.html`);
    const devtools = await browser.context.newCDPSession(own);
    const stopped = new Promise<void>((resolve) =>
      devtools.on('ServiceWorker.workerVersionUpdated', ({ versions }) => {
        if (versions.some(({ runningStatus }) => runningStatus === 'stopped')) resolve();
      }),
    );
    await devtools.send('ServiceWorker.enable');
    await devtools.send('ServiceWorker.stopAllWorkers');
    await stopped;
    await page.bringToFront();
    await poll(appNow).toMatch(/^app\d+$/);
    expect(await appNow()).not.toBe(before);
    await poll(async () => (await hands(page)).right?.size).toBe(25);
  });

  it('the service goes away and comes back: so does the hand', async () => {
    const page = await enter();
    await poll(async () => (await hands(page)).right?.size).toBe(25);
    const { port } = service;
    await service.stop();
    await poll(async () => (await hands(page)).right).toBe(null);
    const required = await openWorld('?old&required');
    await required.click('#enter');
    await poll(async () => (await seenBy(required)).error).toContain('NotSupportedError');
    service = await startService(port);
    await poll(async () => (await hands(page)).right?.size).toBe(25);
  });

  it('a session that ends leaves no connection', async () => {
    const page = await enter();
    await poll(async () => (await hands(page)).right?.size).toBe(25);
    // What is drawn of the world lies over the page.
    await page.evaluate(() => document.getElementById('leave')!.click());
    await poll(async () => {
      const answer = await fetch(`http://127.0.0.1:${service.port}/health`);
      return ((await answer.json()) as { apps: unknown[] }).apps.length;
    }).toBe(0);
  });
});

describe('and back', () => {
  it('switched off: an open world loses the glove at once, and the next page never has it', async () => {
    const page = await enter();
    await poll(async () => (await hands(page)).right?.size).toBe(25);
    await switchSite(false);
    await poll(async () => (await hands(page)).right).toBe(null);
    await new Promise((resolve) => setTimeout(resolve, 1000));
    expect((await hands(page)).right).toBe(null);
    const next = await enter();
    expect(await hands(next)).toEqual({ left: null, right: null });
    const plain = await next.evaluate(() => Object.hasOwn(navigator as object, 'xr'));
    expect(plain).toBe(true);
    await switchSite(true);
  });

  it('switched on over a page that is open: its next session has the glove', async () => {
    await switchSite(false);
    const page = await openWorld('?late');
    const popup = await popupOver(page);
    await popup.click('#switch');
    await poll(() => popup.textContent('#site-note')).toContain('On.');
    await page.bringToFront();
    await page.click('#enter');
    await poll(async () => (await hands(page)).right?.size).toBe(25);
  });

  it('withdrawn on the page of the service: the hand is gone, and the extension asks again', async () => {
    const page = await enter();
    await poll(async () => (await hands(page)).right?.size).toBe(25);
    const bench = await browser.context.newPage();
    pages.push(bench);
    await bench.goto(`http://127.0.0.1:${service.port}/#apps`);
    await bench
      .locator('.extensions')
      .getByRole('button', { name: /Withdraw/ })
      .click();
    await poll(() => bench.locator('.extensions .said').textContent()).toContain('Withdrawn');
    await page.bringToFront();
    await poll(async () => (await hands(page)).right).toBe(null);
    expect((await asked()).paired).toEqual([]);
    const popup = await popupOver(page);
    expect(await popup.textContent('#service')).toContain('Pair it once');
  });

  it.runIf(process.env.SCREENSHOTS)('is in the picture of the guide', async () => {
    const folder = process.env.SCREENSHOTS!;
    const image = (name: string) =>
      `<img src="data:image/png;base64,${readFileSync(`${folder}/${name}.png`).toString('base64')}">`;
    const page = await browser.context.newPage();
    pages.push(page);
    await page.setViewportSize({ width: 840, height: 440 });
    await page.setContent(
      `<style>body{display:flex;gap:20px;align-items:start;margin:20px;background:#d8d2c6}</style>${image('popup')}${image('pairing')}`,
    );
    await keep(page, 'webxr-extension');
  });

  it('nothing of this troubled a page', () => {
    expect(troubles.join('\n')).toBe('');
  });
});
