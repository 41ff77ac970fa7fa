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
    ['arm', true, 'left hand: armed, fingers can be stopped\nKeep a way out.\n'],
    ['disarm', false, 'left hand: disarmed, every finger is free\nKeep a way out.\n'],
  ])('%s posts with hand and token, and says what is so now', async (command, armed, stdout) => {
    const requests: unknown[] = [];
    const outcome = await withServer(
      ({ method, url, headers }, response) => {
        requests.push([method, url, headers.authorization]);
        response.end(JSON.stringify({ armed, hands: [{ hand: 'left', armed }], caution: 'Keep a way out.' }));
      },
      (address) => run(command, '--url', `ws://${address}/stream`, '--token', 'sesame', '--hand', 'left'),
    );
    expect(outcome).toEqual({ code: 0, stdout, stderr: '' });
    expect(requests).toEqual([['POST', `/${command}?hand=left`, 'Bearer sesame']]);
  });

  it('reminds of the way out whenever it arms', async () => {
    const outcome = await withServer(
      (_, response) => response.end('{"hands":[{"hand":"right","armed":true}]}'),
      (address) => run('arm', '--url', address),
    );
    expect(outcome.stdout).toMatch(/armed.*\n.*way to get the hand out.*tautline disarm\n$/);
  });

  it('says which finger stays free all the same, why, and what to do, within 80 columns', async () => {
    const unused = [
      {
        says: 'index, ring stay free: the servo pulls up to 15 N, more than the 8 N of safety.maxTensionN.',
        remedy: 'Use a wider spool.',
      },
    ];
    const answer = (armed: boolean) => JSON.stringify({ hands: [{ hand: 'right', armed, unused }] });
    const armed = await withServer(
      (_, response) => response.end(answer(true)),
      (address) => run('arm', '--url', address),
    );
    expect(armed.stdout).toMatch(
      /^right hand: armed, .*\n {2}index, ring stay free: .*\n {2}safety\.maxTensionN\. Use a wider spool\.\nKeep/,
    );
    for (const line of armed.stdout.split('\n')) expect(line.length).toBeLessThanOrEqual(80);
    // Of a hand that was just freed it is no news.
    const disarmed = await withServer(
      (_, response) => response.end(answer(false)),
      (address) => run('disarm', '--url', address),
    );
    expect(disarmed.stdout).not.toContain('stay free');
  });

  it('arms the glove that is connected, and says that the other is not', async () => {
    const hands = [
      { hand: 'right', armed: true, connected: true },
      { hand: 'left', armed: false, connected: false },
    ];
    const outcome = await withServer(
      (_, response) => response.end(JSON.stringify({ hands })),
      (address) => run('arm', '--url', address),
    );
    expect(outcome).toMatchObject({ code: 0, stderr: '' });
    expect(outcome.stdout).toMatch(/^right hand: armed.*\nleft hand: not connected, disarmed\n/);
  });

  it('fails when the service did not do it, whatever its status', async () => {
    for (const [answer, line] of [
      ['{"hands":[{"hand":"left","armed":true}]}', 'Not every hand could be disarmed. See `tautline watch`.'],
      ['<html>', 'Not every hand could be disarmed. See `tautline watch`.'],
    ]) {
      const outcome = await withServer(
        (_, response) => response.end(answer),
        (address) => run('disarm', '--url', address),
      );
      expect(outcome).toMatchObject({ code: 1, stderr: `tautline: ${line}\n` });
    }
  });

  it("passes on the service's own words when it refuses", async () => {
    const outcome = await withServer(
      (_, response) => response.writeHead(403).end('{"code":"notPermitted","message":"Not for you."}'),
      (address) => run('disarm', '--url', address),
    );
    expect(outcome).toEqual({ code: 1, stdout: '', stderr: 'tautline: Not for you.\n' });
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

describe.concurrent('every command that asks a service', () => {
  const commands = [['arm'], ['disarm'], ['check'], ['fit', '--list'], ['record', '/no/x.mcap'], ['watch']];

  it.each(commands)('%s: a wrong token is answered with what to do here', async (...command) => {
    const refusal = '{"code":"notPermitted","message":"Send \\"Authorization: Bearer TOKEN\\"."}';
    const [address, outcome] = await withServer(
      (_, response) => response.writeHead(401).end(refusal),
      async (at) => [at, await run(...command, '--url', at)] as const,
    );
    const line = `${address}: the token is missing or wrong. Give it with --token or TAUTLINE_TOKEN.`;
    expect(outcome).toEqual({ code: 1, stdout: '', stderr: `tautline: ${line}\n` });
  });

  it.each(commands)('%s: another program at the address is named as one', async (...command) => {
    const [address, { code, stdout, stderr }] = await withServer(
      (_, response) => response.writeHead(404).end('<html>'),
      async (at) => [at, await run(...command, '--url', at)] as const,
    );
    expect({ code, stdout }).toEqual({ code: 7, stdout: '' });
    expect(stderr).toMatch(
      new RegExp(`^tautline: ${address} answered 404: no Tautline service\\. .*\`tautline run\`.*\\n$`),
    );
  });
});
