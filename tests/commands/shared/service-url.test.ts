import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { expect, it, onTestFinished } from 'vitest';
import WebSocket from 'ws';
import { unreachable } from '../../../src/commands/shared/service-url.js';

it('says of an address with https what would be right, whichever way it is asked', async () => {
  const server = createServer().listen(0, '127.0.0.1');
  onTestFinished(() => void server.close());
  await new Promise((resolve) => server.once('listening', resolve));
  const host = `127.0.0.1:${(server.address() as AddressInfo).port}`;
  const overHttp: unknown = await fetch(`https://${host}/`).catch((error: unknown) => error);
  const overSocket = await new Promise((resolve) =>
    new WebSocket(`wss://${host}/stream`).once('error', resolve),
  );
  expect(unreachable(new URL(`https://${host}/`), overHttp)).toMatchObject({
    code: 'serviceUnreachable',
    message: `${host} does not speak TLS, as https:// asks.`,
    remedy: `A service speaks it behind a proxy alone: write http://${host}.`,
  });
  expect(unreachable(new URL(`wss://${host}/stream`), overSocket).message).toBe(
    `${host} does not speak TLS, as wss:// asks.`,
  );
});
