import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, expect } from 'vitest';
import { openBrowser } from './browser.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/** A browser and a service for the tests of one file. After each test its pages are closed and the glove is disarmed. */
export function servedPage(options?: Parameters<typeof openBrowser>[0]) {
  const served = {} as { browser: Browser; service: ServiceProcess };
  beforeAll(async () => {
    [served.browser, served.service] = await Promise.all([openBrowser(options), startServiceProcess()]);
  }, 60_000);
  afterEach(async () => {
    for (const context of served.browser.contexts()) await context.close();
    await fetch(`http://127.0.0.1:${served.service.port}/disarm`, { method: 'POST' });
  });
  afterAll(async () => {
    await served.browser.close();
    await stopAllServices();
  });
  return served;
}

export const poll = <T>(read: () => T) => expect.poll(read, { timeout: 20_000, interval: 60 });

/** Arms, however near the last disarm was: right after one a glove refuses. */
export const armed = (service: ServiceProcess, page: Page) =>
  poll(async () => {
    await service.arm();
    return page.getAttribute('.armbar', 'data-state');
  }).toBe('armed');
