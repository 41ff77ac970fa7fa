import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { build } from 'esbuild';
import { type BrowserContext, chromium, type Page, type Worker } from 'playwright-core';
import { needBrowserWithExtensions } from '../../requirements.js';
import { FLAGS } from '../browser.js';

const FOLDER = 'tests/end-to-end/extension';
const BUILT = 'dist/extension';

export interface WithExtension {
  context: BrowserContext;
  /** Of the extension. */
  id: string;
  worker: Worker;
  close(): Promise<void>;
}

/**
 * A browser with the built extension in it, as a user loads it.
 * @param granted origin for which the user has said yes to the browser's own question, which no test can press
 */
export async function openWithExtension(granted: string): Promise<WithExtension> {
  const folder = mkdtempSync(join(tmpdir(), 'tautline-browser-'));
  const extension = join(folder, 'extension');
  cpSync(BUILT, extension, { recursive: true });
  const manifestFile = join(extension, 'manifest.json');
  const manifest = JSON.parse(readFileSync(manifestFile, 'utf8')) as object;
  writeFileSync(manifestFile, JSON.stringify({ ...manifest, host_permissions: [`${granted}/*`] }));
  const context = await chromium.launchPersistentContext(join(folder, 'profile'), {
    executablePath: needBrowserWithExtensions(),
    headless: true,
    ignoreDefaultArgs: ['--disable-extensions'],
    args: [...FLAGS, `--disable-extensions-except=${extension}`, `--load-extension=${extension}`],
  });
  const worker = context.serviceWorkers()[0] ?? (await context.waitForEvent('serviceworker'));
  return {
    context,
    worker,
    id: new URL(worker.url()).host,
    async close() {
      await context.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

const PAGE = `<!doctype html><html lang="en"><title>World</title>
<script src="/emulated.js"></script>
<button id="enter">Enter</button><button id="leave">Leave</button><script src="/page.js"></script></html>`;
const PLAIN = '<!doctype html><html lang="en"><title>Plain</title><p>No worlds here.</p></html>';

/** The extension's window as it opens over a tab; the browser shows the real one to nobody without a screen. */
export async function openPopup(
  { context, id, worker }: Pick<WithExtension, 'context' | 'id' | 'worker'>,
  over: Page | undefined,
  answers: { permit: boolean } = { permit: true },
): Promise<Page> {
  const url = over?.url() ?? 'about:blank';
  const tabId = await worker.evaluate(async (wanted) => {
    const { tabs } = (globalThis as unknown as { chrome: TestChrome }).chrome;
    return (await tabs.query({})).find((tab) => tab.url === wanted)?.id;
  }, url);
  const popup = await context.newPage();
  await popup.setViewportSize({ width: 360, height: 400 });
  await popup.addInitScript(
    ({ tabId, url, permit }) => {
      const { chrome } = globalThis as unknown as { chrome: TestChrome };
      chrome.tabs.query = async () => [{ url, ...(tabId === undefined ? {} : { id: tabId }) }];
      if (!permit) chrome.permissions.request = async () => false;
    },
    { tabId, url, permit: answers.permit },
  );
  await popup.goto(`chrome-extension://${id}/popup.html`);
  return popup;
}
interface TestChrome {
  tabs: { query(filter: object): Promise<{ id?: number; url?: string }[]> };
  permissions: { request(what: object): Promise<boolean> };
}

/** Somebody's site: `/world` with an emulated headset, `/plain` without anything. */
export async function serveSite(): Promise<{ server: Server; origin: string }> {
  const { outputFiles } = await build({
    entryPoints: [`${FOLDER}/emulated.ts`],
    bundle: true,
    format: 'iife',
    write: false,
    logLevel: 'error',
  });
  const files: Record<string, [type: string, text: string]> = {
    '/world': ['text/html', PAGE],
    '/plain': ['text/html', PLAIN],
    '/emulated.js': ['text/javascript', outputFiles[0].text],
    '/page.js': ['text/javascript', readFileSync(`${FOLDER}/page.js`, 'utf8')],
  };
  const server = createServer(({ url = '' }, response) => {
    const [type, text] = files[url.split('?', 1)[0]] ?? [];
    response.writeHead(text === undefined ? 404 : 200, {
      'content-type': `${type ?? 'text/plain'}; charset=utf-8`,
    });
    response.end(text);
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return { server, origin: `http://127.0.0.1:${(server.address() as AddressInfo).port}` };
}

/** What `page.js` has written down. */
export interface Seen {
  hands: Record<string, SeenHand | null>;
  sources?: string[];
  features?: readonly string[];
  error?: string;
  running?: boolean;
  frames?: number;
}
export interface SeenHand {
  size: number;
  own: boolean;
  tip: [number, number, number];
  wrist: [number, number, number];
  /** Of the controller. */
  grip: [number, number, number];
  radius: number;
  filled: boolean;
  filledRadii: boolean;
  finite: boolean;
}
export const seenBy = (page: Page): Promise<Seen> =>
  page.evaluate(() => (globalThis as unknown as { seen: Seen }).seen);
