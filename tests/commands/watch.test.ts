import { once } from 'node:events';
import { createServer } from 'node:http';
import type { AddressInfo } from 'node:net';
import { describe, expect, it } from 'vitest';
import { WebSocketServer } from 'ws';
import { JOINT_COUNT } from '../../src/hand/joints.js';
import { run, start } from './cli.js';

const LINK = { state: 'live', address: 'simulated' };
const WELCOME = { type: 'welcome', hands: [{ hand: 'right', name: 'Glove', armed: false, link: LINK }] };
const JOINTS = {
  type: 'joints',
  hand: 'right',
  valid: true,
  fingers: { thumb: 'tracked', index: 'tracked', middle: 'tracked', ring: 'tracked', little: 'tracked' },
  poses: Array.from({ length: JOINT_COUNT }, () => [0, 0, 0, 0, 0, 0, 1, 0.01]),
};
const LINE = 'right, thumb 0%, index 0%, middle 0%, ring 0%, little 0%, live, disarmed';

/** A service that welcomes every subscriber and sends it one pose. */
async function service() {
  const server = new WebSocketServer({ port: 0, host: '127.0.0.1', handleProtocols: ([first]) => first });
  const heard: unknown[] = [];
  server.on('connection', (socket, request) => {
    heard.push([request.url, socket.protocol, request.headers.authorization]);
    socket.send(JSON.stringify(WELCOME));
    socket.on('message', (data) => {
      heard.push(JSON.parse(String(data)));
      socket.send(JSON.stringify(JOINTS));
    });
  });
  await once(server, 'listening');
  return { server, heard, address: `127.0.0.1:${(server.address() as AddressInfo).port}` };
}

describe.concurrent('watch', () => {
  it('--once subscribes to everything, prints a line a hand and ends', async () => {
    const { server, heard, address } = await service();
    const outcome = await run('watch', '--once', '--url', `ws://${address}/stream`, '--token', 'sesame');
    server.close();
    expect(outcome).toEqual({ code: 0, stdout: `${LINE}\n`, stderr: '' });
    expect(heard[0]).toEqual(['/stream', 'tautline.json.v1', 'Bearer sesame']);
    expect(heard[1]).toMatchObject({
      type: 'subscribe',
      streams: ['joints', 'inputs', 'resistance', 'health'],
    });
  });

  it('writes plain lines into a pipe until a signal ends it', async () => {
    const { server, address } = await service();
    const watching = start(['watch', '--url', address]);
    const text = await watching.said('live');
    expect(text).not.toContain('\x1b');
    watching.process.kill('SIGINT');
    expect(await watching.outcome).toMatchObject({ code: 0, stderr: '' });
    server.close();
  });

  it('says so when nobody answers, and when it is refused', async () => {
    const refusing = createServer();
    refusing.on('upgrade', (_, socket) =>
      socket.end('HTTP/1.1 401 Unauthorized\r\nContent-Length: 0\r\n\r\n'),
    );
    refusing.listen(0, '127.0.0.1');
    await once(refusing, 'listening');
    const address = `127.0.0.1:${(refusing.address() as AddressInfo).port}`;
    expect(await run('watch', '--url', address)).toEqual({
      code: 1,
      stdout: '',
      stderr: `tautline: ${address}: the token is missing or wrong. Give it with --token or TAUTLINE_TOKEN.\n`,
    });
    refusing.close();
    await once(refusing, 'close');
    expect(await run('watch', '--url', address)).toEqual({
      code: 7,
      stdout: '',
      stderr: `tautline: No service answers at ws://${address} (ECONNREFUSED). Start one with \`tautline run\`, or name another with --url.\n`,
    });
  });
});
