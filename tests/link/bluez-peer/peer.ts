/**
 * A glove behind a stand-in for BlueZ, as a process of its own:
 *
 *   firmware (pseudo-terminal) <-> notifications and writes <-> org.bluez on the bus of DBUS_SYSTEM_BUS_ADDRESS
 *
 * Commands come line by line on standard input; each is answered with one line of JSON. See `commands` below.
 */
import { createInterface } from 'node:readline';
import { parseArgs } from 'node:util';
import { serialPort } from '../../../src/link/serial-port.js';
import { type Radio, startRadio } from './bluez.js';

const { values } = parseArgs({
  options: {
    name: { type: 'string', default: 'Tautline right' },
    address: { type: 'string', default: '02:00:00:00:00:01' },
    /** Pseudo-terminal of the firmware; without it, only `emit` and `train` send anything. */
    pty: { type: 'string' },
    mtu: { type: 'string', default: '247' },
    patience: { type: 'string', default: 'Infinity' },
    /** Packets are cut to lengths that run from the first number to the second. */
    packet: { type: 'string', default: '20,244' },
  },
});
const [least, most] = values.packet.split(',').map(Number) as [number, number];
let length = least;
let written: number[] = [];
let halfThenDisconnect = false;
/** As the sketch does: a host that says nothing for this long is gone, and the glove advertises again. */
let patienceMs = Number(values.patience);
let lastWriteMs = performance.now();
setInterval(() => {
  if (performance.now() - lastWriteMs > patienceMs) radio.disconnect();
}, 50).unref();

const radio: Radio = await startRadio({
  name: values.name,
  address: values.address,
  mtu: Number(values.mtu),
  written(bytes) {
    lastWriteMs = performance.now();
    if (firmware) firmware.write(bytes, true);
    else written.push(...bytes);
  },
  subscribed: () => {
    lastWriteMs = performance.now();
  },
});

/** Cuts the byte stream without regard to frames. */
function send(chunk: Uint8Array): void {
  for (let at = 0; at < chunk.length; ) {
    length = length >= most ? least : length + 7;
    let packet = chunk.slice(at, at + Math.min(length, most));
    at += packet.length;
    if (halfThenDisconnect) packet = packet.slice(0, packet.length >> 1);
    radio.notify(packet);
    if (halfThenDisconnect) {
      halfThenDisconnect = false;
      radio.disconnect();
      return;
    }
  }
}

const firmware = values.pty
  ? await serialPort({ path: values.pty, baud: 921_600 })({ bytes: send, ended: () => process.exit(1) })
  : undefined;

const commands: Record<string, (...args: string[]) => unknown> = {
  stats: () => ({ ...radio.counts, connected: radio.connected }),
  /** What was written since the last time, in hex. */
  written: () => {
    const hex = Buffer.from(written).toString('hex');
    written = [];
    return hex;
  },
  emit: (hex) => radio.notify(Buffer.from(hex!, 'hex')),
  /** COUNT notifications, HZ a second; each holds its number (u32) and the system's monotonic time, µs (f64). */
  train: (count, hz) => {
    const startMs = performance.now();
    let number = 0;
    const timer = setInterval(() => {
      while (number < Number(count) && (performance.now() - startMs) * Number(hz) >= number * 1000) {
        const value = Buffer.alloc(40);
        value.writeUInt32LE(number++);
        value.writeDoubleLE(Number(process.hrtime.bigint()) / 1000, 4);
        radio.notify(value);
      }
      if (number === Number(count)) clearInterval(timer);
    }, 1);
    return true;
  },
  disconnect: () => radio.disconnect(),
  /** Breaks the connection within a packet of the firmware's. */
  'break-off': () => {
    halfThenDisconnect = true;
  },
  patience: (ms) => {
    patienceMs = Number(ms);
  },
  away: () => radio.setPresent(false),
  back: () => radio.setPresent(true),
  power: (state) => radio.setPowered(state === 'on'),
  /** How long the stack takes over each write, ms. */
  'write-delay': (ms) => {
    radio.writeDelayMs = Number(ms);
  },
  'connect-delay': (ms) => {
    radio.connectDelayMs = Number(ms);
  },
};

console.log(JSON.stringify({ ready: true }));
const input = createInterface({ input: process.stdin });
input.on('line', (line) => {
  const [name, ...args] = line.split(' ') as [string, ...string[]];
  console.log(JSON.stringify(commands[name]?.(...args) ?? null));
});
input.on('close', () => {
  radio.stop();
  void firmware?.close();
  process.exit(0);
});
