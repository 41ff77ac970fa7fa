/**
 * Subscribers of one service, in a process of their own (started by bed.ts): each counts its poses, the gaps in
 * their numbers, and how long ago the glove took the sample.
 */
import { once } from 'node:events';
import { WebSocket } from 'ws';
import type { HandSide } from '../../src/hand/joints.js';
import { monotonicUs } from './clock.js';
import { Delays } from './delays.js';
import type { Encoding, ReaderReport, ToReaders } from './reader-messages.js';

const HANDS: readonly HandSide[] = ['left', 'right'];
const delays = new Delays();
const offsetUs: (number | undefined)[] = [undefined, undefined];
let clockUs: number[] = [0, 0];
let dropped = 0;
let sinceUs = monotonicUs();
let cpu = process.cpuUsage();
const sockets: WebSocket[] = [];
const stalled: WebSocket[] = [];

function reset(): void {
  delays.reset();
  dropped = 0;
  sinceUs = monotonicUs();
  cpu = process.cpuUsage();
}

/** The head of a pose of either encoding: its fields stand in fixed order. */
class Reader {
  readonly #seq = [-1, -1];

  take(data: Buffer, isBinary: boolean): void {
    const atUs = monotonicUs();
    if (isBinary) this.#pose(data[1], data.readUInt32LE(4), data.readDoubleLE(8), atUs);
    else {
      const head = data.toString('latin1', 0, 100);
      const pose = head.match(/^\{"type":"joints","hand":"(\w+)","seq":(\d+),"timeUs":(\d+)/);
      if (pose) this.#pose(pose[1] === 'left' ? 0 : 1, Number(pose[2]), Number(pose[3]), atUs);
      else if (head.startsWith('{"type":"health"')) learnOffset(data.toString());
    }
  }

  #pose(hand: number, seq: number, timeUs: number, atUs: number): void {
    const last = this.#seq[hand];
    if (last >= 0) dropped += seq - last - 1;
    this.#seq[hand] = seq;
    const offset = offsetUs[hand];
    if (offset !== undefined) delays.add(atUs - clockUs[hand] - (timeUs - offset));
  }
}

/** How the service's clock relates to that of the glove. */
function learnOffset(text: string): void {
  const { hand, clock } = JSON.parse(text) as { hand: HandSide; clock?: { offsetUs: number } };
  if (clock) offsetUs[HANDS.indexOf(hand)] = clock.offsetUs;
}

async function connect(url: string, encoding: Encoding, streams: string[]): Promise<WebSocket> {
  const socket = new WebSocket(url, `tautline.${encoding}.v1`, {
    perMessageDeflate: false,
    skipUTF8Validation: true,
  });
  const reader = new Reader();
  socket.on('message', (data: Buffer, isBinary) => reader.take(data, isBinary));
  await once(socket, 'open');
  socket.send(JSON.stringify({ type: 'subscribe', streams }));
  return socket;
}

async function obey(message: ToReaders): Promise<ReaderReport | undefined> {
  switch (message.kind) {
    case 'open':
      clockUs = HANDS.map((hand) => message.clockUs[hand] ?? 0);
      for (let i = 0; i < message.count; i++) {
        const streams = i === 0 ? ['joints', 'health'] : ['joints'];
        sockets.push(await connect(message.url, message.encoding, streams));
      }
      return undefined;
    case 'stall': {
      const socket = await connect(message.url, message.encoding, ['joints']);
      socket.pause();
      stalled.push(socket);
      return undefined;
    }
    case 'closeStalled':
      for (const socket of stalled.splice(0)) socket.terminate();
      return undefined;
    case 'close': {
      const open = sockets.splice(0);
      for (const socket of open) socket.terminate();
      return undefined;
    }
    case 'reset':
      reset();
      return undefined;
    case 'report': {
      const { user, system } = process.cpuUsage(cpu);
      return {
        kind: 'report',
        poses: delays.count,
        dropped,
        p50Us: delays.percentile(50),
        p99Us: delays.percentile(99),
        cpuUs: user + system,
        elapsedUs: monotonicUs() - sinceUs,
      };
    }
  }
}

process.on('message', (message: ToReaders) => {
  void obey(message).then((report) => process.send!(report ?? { kind: 'done' }));
});
process.on('disconnect', () => process.exit(0));
