/**
 * The radio side of a Bluetooth port, as a process of its own (started by ble-port.ts, one for each connection; one
 * that did not find its glove looks again when asked to).
 *
 * The library blocks its thread while the system's Bluetooth service answers: seconds while it connects. It
 * cannot be moved to a worker thread: its native part keeps state in globals, so that a second worker, or ending
 * a worker that is connected, aborts the whole program. A process costs one hop and contains every fault; and as
 * each connection gets a fresh one, nothing of the last is left: listeners, handles, or a device object
 * that delivers no more notifications.
 */

import { BLE, BLE_MIN_PACKET } from '../protocol/link-table.js';
import { explainLoadFailure, explainNoRadio, explainStep, goneTrouble, notFound } from './ble-errors.js';
import { type BleTarget, type FromProcess, systemUs, type ToProcess, type Trouble } from './ble-messages.js';

/**
 * What is used of the library's native part. Its Web Bluetooth layer looks at a device once, when it is first
 * heard: a name that comes later, in the scan response, would never be matched. It also hides the packet size.
 */
interface Library {
  isEnabled(): boolean;
  getAdapters(): Adapter[];
}
interface Adapter {
  setCallbackOnScanFound(heard: (device: Device) => void): boolean;
  setCallbackOnScanUpdated(heard: (device: Device) => void): boolean;
  scanStart(): boolean;
  scanStop(): boolean;
}
interface Device {
  readonly identifier: string;
  readonly address: string;
  /** Bytes of value in a packet. */
  readonly mtu: number;
  readonly services: readonly { uuid: string; characteristics: readonly { uuid: string }[] }[];
  connect(): boolean;
  disconnect(): boolean;
  setCallbackOnDisconnected(gone: () => void): boolean;
  notify(service: string, characteristic: string, notified: (value: Uint8Array) => void): boolean;
  writeCommand(service: string, characteristic: string, value: Uint8Array): boolean;
}

/** A stop that waited longer than this says nothing about the present hand. */
const STALE_US = 50_000;
/** Services may come a moment after the connection. */
const DISCOVER_MS = 3000;
const LOOK_AGAIN_MS = 20;

class Failure extends Error {
  constructor(readonly trouble: Trouble) {
    super(trouble.message);
  }
}

const send = (message: FromProcess): void => {
  if (process.connected) process.send!(message);
};
const pause = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms));

async function load(): Promise<Library> {
  // A variable, so that the program can be built without the optional package.
  const name: string = 'webbluetooth/dist/adapters/simpleble.js';
  try {
    return ((await import(name)) as { default: Library }).default;
  } catch (cause) {
    throw new Failure(explainLoadFailure((cause as Error).message, process.platform));
  }
}

/** Never collected: the library forgets its callbacks with the object that they were set on. */
let adapters: Adapter[] = [];

const toldToLook = (): Promise<void> =>
  new Promise((resolve) => {
    process.once('message', (message: ToProcess) => {
      if (message.kind === 'look') resolve();
    });
  });

/** @returns undefined if it was not heard in time */
async function find(
  library: Library,
  { name, address, scanS }: BleTarget,
  glove: string,
): Promise<Device | undefined> {
  // Aborts the process where D-Bus runs without BlueZ.
  adapters = library.getAdapters();
  send({ kind: 'alive' });
  const [adapter] = adapters;
  if (!adapter || !library.isEnabled()) {
    throw new Failure(explainNoRadio(adapters.length, process.platform));
  }
  const wanted = address?.toLowerCase();
  const device = await new Promise<Device | undefined>((resolve, reject) => {
    const heard = (candidate: Device): void => {
      const isIt =
        wanted === undefined ? candidate.identifier === name : candidate.address.toLowerCase() === wanted;
      if (isIt) resolve(candidate);
    };
    adapter.setCallbackOnScanFound(heard);
    adapter.setCallbackOnScanUpdated(heard);
    if (!adapter.scanStart()) reject(new Failure(explainStep('scan', glove)));
    setTimeout(() => resolve(undefined), scanS * 1000);
  });
  adapter.scanStop();
  return device;
}

async function connect(device: Device, glove: string): Promise<void> {
  if (!device.connect()) throw new Failure(explainStep('connect', glove));
  const wanted: string[] = [BLE.toHost, BLE.toGlove];
  const untilMs = performance.now() + DISCOVER_MS;
  for (;;) {
    const service = device.services.find(({ uuid }) => uuid.toLowerCase() === BLE.service);
    const uuids = service?.characteristics.map(({ uuid }) => uuid.toLowerCase());
    if (wanted.every((uuid) => uuids?.includes(uuid))) return;
    if (performance.now() > untilMs) break;
    await pause(LOOK_AGAIN_MS);
  }
  // Only a glove that is not connected advertises, and can be found at the next try.
  device.disconnect();
  throw new Failure(explainStep('discover', glove));
}

async function run(target: BleTarget): Promise<void> {
  const glove = target.address ?? `"${target.name}"`;
  const library = await load();
  let device = await find(library, target, glove);
  while (!device) {
    send({ kind: 'trouble', trouble: notFound(glove), waiting: true });
    await toldToLook();
    device = await find(library, target, glove);
  }
  await connect(device, glove);
  const { mtu, identifier, address } = device;
  const known = mtu >= BLE_MIN_PACKET && mtu <= 512 ? mtu : undefined;
  const packet = known ?? BLE_MIN_PACKET;

  /** The port answers with `close`: ending here could lose what was just said. */
  const end = (): void => send({ kind: 'trouble', trouble: goneTrouble(glove) });
  const close = (): void => {
    try {
      device.disconnect();
    } finally {
      process.exit(0);
    }
  };
  device.setCallbackOnDisconnected(end);
  const subscribed = device.notify(BLE.service, BLE.toHost, (bytes) => {
    const atUs = systemUs();
    send({ kind: 'bytes', bytes, atUs });
  });
  if (!subscribed) {
    device.disconnect();
    throw new Failure(explainStep('connect', glove));
  }

  const write = (bytes: Uint8Array): boolean => {
    for (let at = 0; at < bytes.length; at += packet) {
      if (!device.writeCommand(BLE.service, BLE.toGlove, bytes.subarray(at, at + packet))) return false;
    }
    return true;
  };
  process.on('message', (message: ToProcess) => {
    if (message.kind === 'close') {
      close();
      return;
    }
    if (message.kind !== 'write') return;
    const { bytes, atUs, urgent } = message;
    const due = urgent || systemUs() - atUs <= STALE_US;
    if (due && !write(bytes)) end();
    send({ kind: 'written' });
  });
  process.off('disconnect', leave);
  // The service is gone, crashed perhaps: let the glove advertise again.
  process.on('disconnect', close);
  send({ kind: 'open', name: identifier, address, packet: known });
}

const leave = (): never => process.exit(0);
process.on('disconnect', leave);
// Ctrl-C goes to every process of a terminal. This one ends when the service has sent its last release.
for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.on(signal, () => {});

run(JSON.parse(process.argv[2]!) as BleTarget).catch((cause: unknown) => {
  const trouble: Trouble =
    cause instanceof Failure
      ? cause.trouble
      : { code: 'bluetoothUnavailable', message: `Bluetooth failed: ${(cause as Error).message}` };
  send({ kind: 'trouble', trouble });
});
