import { once } from 'node:events';
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { describe, expect, it } from 'vitest';
import { run } from './cli.js';

async function withServer<T>(
  answer: (request: IncomingMessage, response: ServerResponse) => void,
  use: (address: string) => Promise<T>,
): Promise<T> {
  const server = createServer(answer).listen(0, '127.0.0.1');
  await once(server, 'listening');
  try {
    return await use(`127.0.0.1:${(server.address() as AddressInfo).port}`);
  } finally {
    server.closeAllConnections();
    server.close();
  }
}

describe.concurrent('arm and disarm', () => {
  it.each([
    ['arm', 'Armed: fingers can be stopped. `tautline disarm` frees them.\n'],
    ['disarm', 'Disarmed: every finger is free.\n'],
  ])('%s posts with the token, and says what is so now', async (command, stdout) => {
    const requests: unknown[] = [];
    const outcome = await withServer(
      ({ method, url, headers }, response) => {
        requests.push([method, url, headers.authorization]);
        response.end('{}');
      },
      (address) => run(command, '--url', `ws://${address}/stream`, '--token', 'sesame'),
    );
    expect(outcome).toEqual({ code: 0, stdout, stderr: '' });
    expect(requests).toEqual([['POST', `/${command}`, 'Bearer sesame']]);
  });

  it("passes on the service's own words when it refuses", async () => {
    const outcome = await withServer(
      (_, response) => response.writeHead(401).end('{"code":"notPermitted","message":"The token is wrong."}'),
      (address) => run('disarm', '--url', address),
    );
    expect(outcome).toEqual({ code: 1, stdout: '', stderr: 'tautline: The token is wrong.\n' });
  });

  it('says so when no service answers', async () => {
    const address = await withServer(
      () => {},
      async (free) => free,
    );
    expect(await run('disarm', '--url', address)).toEqual({
      code: 7,
      stdout: '',
      stderr: `tautline: No service answers at http://${address} (ECONNREFUSED). Start one with \`tautline run\`, or name another with --url.\n`,
    });
  });
});
