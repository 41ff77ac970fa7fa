import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { cpSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type BrowserContext, chromium, type Worker } from 'playwright-core';
import { need, needBrowserWithExtensions } from '../../requirements.js';

/**
 * A browser with the extension as it is shipped, on a screen of its own, so that the dialogs of the browser itself are there:
 * the only place where what they ask can be answered.
 */
export async function openOnScreen(): Promise<{
  context: BrowserContext;
  worker: Worker;
  id: string;
  /** Presses keys, as xdotool names them. */
  press(...keys: string[]): void;
  close(): Promise<void>;
}> {
  need('Xvfb', 'xvfb');
  need('xdotool', 'xdotool');
  // The server chooses a free number and writes it to its fourth file.
  const screen: ChildProcess = spawn('Xvfb', ['-displayfd', '3', '-screen', '0', '1000x800x24'], {
    stdio: ['ignore', 'ignore', 'ignore', 'pipe'],
  });
  const [number] = (await once(screen.stdio[3] as NodeJS.ReadableStream, 'data')) as [Buffer];
  const env = { ...process.env, DISPLAY: `:${number.toString().trim()}` };
  const folder = mkdtempSync(join(tmpdir(), 'tautline-screen-'));
  const extension = join(folder, 'extension');
  cpSync('dist/extension', extension, { recursive: true });
  const context = await chromium.launchPersistentContext(join(folder, 'profile'), {
    executablePath: needBrowserWithExtensions(),
    headless: false,
    env,
    ignoreDefaultArgs: ['--disable-extensions'],
    args: [
      ...[
        '--no-sandbox',
        '--no-first-run',
        '--disable-gpu',
        '--window-size=900,700',
        '--window-position=0,0',
      ],
      ...[`--disable-extensions-except=${extension}`, `--load-extension=${extension}`],
    ],
  });
  const worker = context.serviceWorkers()[0] ?? (await context.waitForEvent('serviceworker'));
  return {
    context,
    worker,
    id: new URL(worker.url()).host,
    press: (...keys) => {
      for (const key of keys) execFileSync('xdotool', ['key', key], { env });
    },
    async close() {
      await context.close();
      screen.kill();
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
