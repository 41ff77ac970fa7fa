import { afterEach, beforeEach, expect, it, vi } from 'vitest';
import type { ToBridge } from '../../../src/client/extension/messages.js';
import { openTunnel } from '../../../src/client/extension/tunnel.js';

/** The browser's WebSocket, without a network. */
class FakeSocket {
  static readonly OPEN = 1;
  static last: FakeSocket;
  readyState = 1;
  readonly sent: string[] = [];
  closed = false;
  onopen?: () => void;
  onclose?: (event: { code: number; reason: string }) => void;
  onmessage?: (event: { data: unknown }) => void;
  constructor(
    readonly url: string,
    readonly protocol: string,
  ) {
    FakeSocket.last = this;
  }
  send(text: string): void {
    this.sent.push(text);
  }
  close(): void {
    this.closed = true;
  }
}
beforeEach(() => vi.stubGlobal('WebSocket', FakeSocket));
afterEach(() => vi.unstubAllGlobals());

function open() {
  const told: ToBridge[] = [];
  const tunnel = openTunnel(
    { postMessage: (message) => void told.push(message) },
    'ws://127.0.0.1:7117/stream?token=secret',
    'world.example',
  );
  const records = () => told.flatMap((message) => ('record' in message ? [message.record] : []));
  return { tunnel, told, records, socket: FakeSocket.last };
}
const bytes = (...values: number[]) => ({ data: Uint8Array.from(values).buffer });

it('passes texts and records on, and tells nobody the address or the secret', () => {
  const { told, socket } = open();
  expect(socket.protocol).toBe('tautline.binary.v1');
  socket.onopen?.();
  socket.onmessage?.({ data: '{"type":"welcome"}' });
  socket.onmessage?.(bytes(0, 255, 7));
  socket.onclose?.({ code: 1001, reason: 'the service ends' });
  expect(told).toEqual([
    { opened: true },
    { text: '{"type":"welcome"}' },
    { record: Buffer.from([0, 255, 7]).toString('base64') },
    { closed: [1001, 'the service ends'] },
  ]);
  expect(JSON.stringify(told)).not.toContain('secret');
});

it('sends what a page may ask for, and nothing else', () => {
  const { tunnel, socket } = open();
  for (const message of [{ type: 'arm' }, { type: 'ping', id: 1 }, { type: 'touch', hand: 'right' }]) {
    tunnel.receive({ text: JSON.stringify(message) });
  }
  expect(socket.sent).toEqual(['{"type":"ping","id":1}']);
  socket.readyState = 3;
  tunnel.receive({ text: '{"type":"ping"}' });
  expect(socket.sent).toHaveLength(1);
});

it('a page that hangs does not make records pile up; one that goes on gets the newest', () => {
  const { tunnel, socket, records } = open();
  for (let i = 0; i < 500; i++) socket.onmessage?.(bytes(i & 255));
  expect(records()).toHaveLength(24);
  tunnel.receive({ taken: 8 });
  for (let i = 0; i < 500; i++) socket.onmessage?.(bytes(i & 255));
  expect(records()).toHaveLength(32);
  // Texts are few, and each is awaited.
  socket.onmessage?.({ data: 'text' });
  // Whatever a bridge claims to have taken, no more than that many are on their way.
  tunnel.receive({ taken: 1_000_000 });
  for (let i = 0; i < 500; i++) socket.onmessage?.(bytes(i & 255));
  expect(records()).toHaveLength(56);
});

it('ends quietly when its port is gone before that is said', () => {
  const gone = {
    postMessage(): void {
      throw new Error('Attempting to use a disconnected port object');
    },
  };
  openTunnel(gone, 'ws://127.0.0.1:7117/stream', 'world.example');
  const socket = FakeSocket.last;
  socket.onmessage?.(bytes(1));
  expect(socket.closed).toBe(true);
  socket.onmessage?.({ data: 'text' });
  socket.onclose?.({ code: 1005, reason: '' });
});

it('ends once, with the reason if the page is still there', () => {
  const switchedOff = open();
  switchedOff.tunnel.end('The site is switched off.');
  switchedOff.socket.onclose?.({ code: 1005, reason: '' });
  switchedOff.socket.onmessage?.(bytes(1));
  expect(switchedOff.told).toEqual([{ closed: [4001, 'The site is switched off.'] }]);
  expect(switchedOff.socket.closed).toBe(true);
  const left = open();
  left.tunnel.end();
  left.socket.onclose?.({ code: 1005, reason: '' });
  expect(left.told).toEqual([]);
});
