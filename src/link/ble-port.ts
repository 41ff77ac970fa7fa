import { type ChildProcess, fork } from 'node:child_process';
import { nowUs } from '../clock.js';
import { TautlineError } from '../errors.js';
import { packageFile } from '../package-files.js';
import { explainNoRadio } from './ble-errors.js';
import { type BleTarget, type FromProcess, systemUs, type ToProcess, type Trouble } from './ble-messages.js';
import type { OpenPort, Port, PortEvents } from './link.js';

export interface BleOptions {
  /** Advertised name of the glove; not used when there is an address. */
  name: string;
  address?: string;
  /** How long to look for the glove before reporting that it is absent, s. */
  scanS?: number;
  /** The compiled ble-process; tests, which run from the sources, give its path. */
  program?: string;
}

/** As for a serial port: about two commands under way, and a release is never dropped. */
const MAX_WRITES = 2;
const MAX_URGENT_WRITES = 8;
/** If the system neither connects nor refuses within this time, this attempt is given up. */
const MAX_CONNECT_MS = 20_000;
/** How long close() waits for the last bytes to leave and for the connection to close properly. */
const MAX_CLOSE_MS = 1500;

const PROGRAM = packageFile('dist/link/ble-process.js');

/** How far the system's clock is ahead of the service's: the reading that was interrupted least. */
function measureSystemAheadUs(): number {
  let aheadUs = 0;
  let leastUs = Number.POSITIVE_INFINITY;
  for (let reading = 0; reading < 20; reading++) {
    const beforeUs = nowUs();
    const system = systemUs();
    const afterUs = nowUs();
    if (afterUs - beforeUs >= leastUs) continue;
    leastUs = afterUs - beforeUs;
    aheadUs = system - (beforeUs + afterUs) / 2;
  }
  return aheadUs;
}
const SYSTEM_AHEAD_US = measureSystemAheadUs();

/** A Bluetooth LE glove with the Tautline service. Everything that may block or crash is in ble-process.ts. */
export function blePort({ name, address, scanS = 12, program = PROGRAM }: BleOptions): OpenPort {
  const target: BleTarget = { name, address, scanS };
  /** A process that has not found the glove looks again at the next opening: starting one stalls this process for 60 ms. */
  let waiting: ChildProcess | undefined;

  function begin(): ChildProcess {
    if (!waiting?.connected) {
      return fork(program, [JSON.stringify(target)], {
        serialization: 'advanced',
        execArgv: [],
        stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
      });
    }
    const child = waiting;
    waiting = undefined;
    child.removeAllListeners();
    child.ref();
    child.channel?.ref();
    child.send({ kind: 'look' } satisfies ToProcess, () => {});
    return child;
  }

  /** It ends with this process, which does not wait for it. */
  function keep(child: ChildProcess): void {
    waiting = child;
    child.once('exit', () => {
      if (waiting === child) waiting = undefined;
    });
    child.unref();
    child.channel?.unref();
  }

  return (events, abandoned) =>
    new Promise((resolve, reject) => {
      let alive = waiting?.connected ?? false;
      const child = begin();
      const exited = new Promise<void>((done) => {
        child.once('exit', () => done());
        child.once('error', () => done());
      });
      const giveUp = (error: TautlineError): void => {
        clearTimeout(timer);
        abandoned?.removeEventListener('abort', abandon);
        child.removeAllListeners('message');
        child.kill('SIGKILL');
        // The radio is free only then.
        void exited.then(() => reject(error));
      };
      const abandon = (): void => giveUp(new TautlineError('portFailed', 'Opening was cancelled.'));
      const timer = setTimeout(
        () =>
          giveUp(
            new TautlineError(
              'portFailed',
              `${address ?? `"${name}"`}: the system's Bluetooth does not answer.`,
              'Switch Bluetooth off and on.',
            ),
          ),
        scanS * 1000 + MAX_CONNECT_MS,
      );
      if (abandoned?.aborted) abandon();
      else abandoned?.addEventListener('abort', abandon, { once: true });

      child.on('message', (message: FromProcess) => {
        if (message.kind === 'alive') alive = true;
        if (message.kind === 'trouble' && !message.waiting) giveUp(errorOf(message.trouble));
        if (message.kind !== 'open' && !(message.kind === 'trouble' && message.waiting)) return;
        clearTimeout(timer);
        abandoned?.removeEventListener('abort', abandon);
        child.removeAllListeners('message');
        child.removeAllListeners('exit');
        child.removeAllListeners('error');
        if (message.kind === 'trouble') {
          keep(child);
          reject(errorOf(message.trouble));
        } else resolve(openedPort(child, message, events));
      });
      child.once('error', (cause) =>
        giveUp(
          new TautlineError('bluetoothUnavailable', `The Bluetooth process did not start: ${cause.message}.`),
        ),
      );
      child.once('exit', (code, signal) =>
        giveUp(alive ? crashed(code, signal) : errorOf(explainNoRadio(0, process.platform))),
      );
    });
}

function openedPort(
  child: ChildProcess,
  { name, address, packet }: Extract<FromProcess, { kind: 'open' }>,
  events: PortEvents,
): Port {
  const known = packet === undefined ? '' : `, ${packet} bytes a packet`;
  let writes = 0;
  let closing: Promise<void> | undefined;
  const exited = new Promise<void>((resolve) => child.once('exit', () => resolve()));

  const tell = (message: ToProcess): void => {
    // A process that just ended: its exit is reported.
    if (child.connected) child.send(message, () => {});
  };
  const end = (error: TautlineError): void => {
    if (closing) return;
    void close();
    events.ended(error);
  };
  const close = (): Promise<void> => {
    closing ??= (async () => {
      tell({ kind: 'close' });
      const timer = setTimeout(() => child.kill('SIGKILL'), MAX_CLOSE_MS);
      await exited;
      clearTimeout(timer);
      child.removeAllListeners();
    })();
    return closing;
  };

  child.on('message', (message: FromProcess) => {
    if (closing) return;
    if (message.kind === 'bytes') events.bytes(message.bytes, message.atUs - SYSTEM_AHEAD_US);
    else if (message.kind === 'written') writes--;
    else if (message.kind === 'trouble') end(errorOf(message.trouble));
  });
  child.once('exit', (code, signal) => end(crashed(code, signal)));
  child.on('error', () => {});

  return {
    address: `Bluetooth ${name} (${address}${known})`,
    write(bytes, urgent = false) {
      if (closing || !child.connected || writes >= (urgent ? MAX_URGENT_WRITES : MAX_WRITES)) return false;
      writes++;
      // Sending serialises at once, so that the bytes are free again on return.
      tell({ kind: 'write', bytes, atUs: systemUs(), urgent });
      return true;
    },
    close,
  };
}

const errorOf = ({ code, message, remedy }: Trouble): TautlineError =>
  new TautlineError(code, message, remedy);

const crashed = (code: number | null, signal: NodeJS.Signals | null): TautlineError =>
  new TautlineError(
    'portFailed',
    `The Bluetooth process ended by itself (${signal ?? `code ${code}`}).`,
    'It is restarted; if it happens again, switch Bluetooth off and on.',
  );
