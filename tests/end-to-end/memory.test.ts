import { setTimeout as wait } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { afterEach, expect, it } from 'vitest';
import { type Running, start } from '../commands/cli.js';
import { type ServiceProcess, startServiceProcess, stopAllServices } from './service.js';

/* What apps can make the service keep is bounded in bytes. Measured as the size of its process. */

const CONNECTIONS = 60;
const FRAGMENTS = fileURLToPath(new URL('./apps/fragments.mjs', import.meta.url));
/** A service takes more as it warms up: 15 MB were measured, and 120 where each fragment was kept by itself. */
const MOST_MORE_BYTES = 60e6;

const apps: Running[] = [];
afterEach(async () => {
  for (const app of apps.splice(0)) {
    app.process.kill('SIGKILL');
    await app.outcome;
  }
  await stopAllServices();
});

async function metric({ port }: ServiceProcess, name: string): Promise<number> {
  const text = await (await fetch(`http://127.0.0.1:${port}/metrics`)).text();
  return Number(new RegExp(`^tautline_${name} (\\S+)$`, 'm').exec(text)?.[1]);
}

it('sixty connections that send a message for ever, a byte in a fragment, take little of it', async () => {
  const service = await startServiceProcess();
  await metric(service, 'resident_memory_bytes');
  const before = await metric(service, 'resident_memory_bytes');
  const flood = start([service.port, CONNECTIONS].map(String), [FRAGMENTS]);
  apps.push(flood);
  await flood.said('sending');
  let most = 0;
  let mostWaiting = 0;
  for (let i = 0; i < 20; i++) {
    await wait(250);
    most = Math.max(most, await metric(service, 'resident_memory_bytes'));
    mostWaiting = Math.max(mostWaiting, await metric(service, 'app_waiting_bytes'));
  }
  const sent = Number((await flood.said('sent')).match(/sent (\d+)/)?.[1]);
  expect(sent).toBeGreaterThan(100_000);
  expect(most - before).toBeLessThan(MOST_MORE_BYTES);
  // The message that is on its way, and what one or two reads have brought.
  expect(mostWaiting).toBeLessThan(CONNECTIONS * (64 + 128) * 1024);
});
