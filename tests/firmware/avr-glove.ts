import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { AvrChip, SUPPLY_VOLTS } from './avr-chip.js';
import { nameTerminal } from './terminal-name.js';

export const AVR_PROGRAM = 'src/firmware/build/tautline-avr.hex';
const BRIDGE = 'src/firmware/build/pty-bridge';

/** As in src/firmware/avr/pins.h. */
const FINGERS = ['thumb', 'index', 'middle', 'ring', 'little'] as const;
const OPEN_US = 2000;
const CLOSED_US = 1100;
const FREE_US = 900;
/** A pulse that is nearer than this to the free one lets go. */
const FREE_WITHIN_US = 50;

/** The potentiometers at open and at closed hand. */
const OPEN_VOLTS = 0.5;
const CLOSED_VOLTS = 4.5;
const counts = (volts: number) => Math.floor((volts / SUPPLY_VOLTS) * 1024);
export const AVR_RANGE = { open: counts(OPEN_VOLTS), closed: counts(CLOSED_VOLTS) };

/** Simulated at most this much at a time, so that apps and services in the same test get their turn. */
const SLICE_US = 1000;
/** Further behind than this it does not catch up: its time then runs slower than ours for a while. */
const MAX_BEHIND_US = 200_000;

export interface AvrServo {
  /** Of the last whole pulse; 0 before the first. */
  us: number;
  free: boolean;
  /** Curl at which the finger is stopped. */
  curl: number;
  /** Time of the chip at which it last became free. */
  freeSinceUs: number;
}

/** The AVR firmware in a simulated chip behind a pseudo-terminal, with strings that a servo can stop. */
export interface AvrGlove {
  pty: string;
  chip: AvrChip;
  servos: Readonly<Record<string, AvrServo>>;
  /**
   * The wearer wants to bend the finger so far, and can go from open to closed in that time of the chip, after
   * which it resolves; a servo that holds may have it otherwise.
   */
  bend(finger: string, curl: number, durationMs: number): Promise<void>;
  curl(finger: string): number;
  /** Puts bytes on the line to the host, at the end of a frame. */
  disturb(bytes: Uint8Array): void;
  quit(): Promise<void>;
}

export async function startAvrGlove(): Promise<AvrGlove> {
  const bridge = spawn(BRIDGE, { stdio: ['pipe', 'pipe', 'inherit'] });
  const ended = once(bridge, 'exit');
  const hand = FINGERS.map(() => ({ wanted: 0, curl: 0, curlPerUs: 0, doneUs: 0, done: () => {} }));
  const servos: AvrServo[] = FINGERS.map(() => ({ us: 0, free: false, curl: 0, freeSinceUs: 0 }));
  let outgoing: number[] = [];
  let disturbance: Uint8Array | undefined;

  const chip = new AvrChip(AVR_PROGRAM, {
    transmitted(byte) {
      outgoing.push(byte);
      if (byte !== 0 || !disturbance) return;
      outgoing.push(...disturbance);
      disturbance = undefined;
    },
    pulse(pin, us) {
      const servo = servos[pin];
      if (!servo) return;
      const free = us < FREE_US + FREE_WITHIN_US;
      if (free && !servo.free) servo.freeSinceUs = chip.timeUs;
      Object.assign(servo, { us, free, curl: (OPEN_US - us) / (OPEN_US - CLOSED_US) });
    },
  });
  let movedUs = 0;
  const moveHand = () => {
    const elapsedUs = chip.timeUs - movedUs;
    movedUs = chip.timeUs;
    for (const [i, finger] of hand.entries()) {
      const { free, curl } = servos[i]!;
      const target = free ? finger.wanted : Math.min(finger.wanted, curl);
      const step = finger.curlPerUs * elapsedUs;
      finger.curl += Math.max(-step, Math.min(step, target - finger.curl));
      chip.setVolts(i, OPEN_VOLTS + (CLOSED_VOLTS - OPEN_VOLTS) * finger.curl);
      if (movedUs >= finger.doneUs) finger.done();
    }
  };
  moveHand();

  const name = nameTerminal(await firstLine(bridge.stdout, (bytes) => chip.send(bytes)));
  let startUs = performance.now() * 1000 - chip.timeUs;
  let running = true;
  const turn = () => {
    if (!running) return;
    let behindUs = performance.now() * 1000 - startUs - chip.timeUs;
    if (behindUs > MAX_BEHIND_US) {
      startUs += behindUs - MAX_BEHIND_US;
      behindUs = MAX_BEHIND_US;
    }
    if (behindUs >= SLICE_US) {
      chip.run(SLICE_US);
      moveHand();
    }
    if (outgoing.length > 0) bridge.stdin.write(Uint8Array.from(outgoing));
    outgoing = [];
    if (behindUs >= SLICE_US) setImmediate(turn);
    else setTimeout(turn, 1);
  };
  turn();

  const of = (name: string) => hand[FINGERS.indexOf(name as (typeof FINGERS)[number])]!;
  return {
    pty: name.path,
    chip,
    servos: Object.fromEntries(FINGERS.map((finger, i) => [finger, servos[i]!])),
    bend(name, wanted, durationMs) {
      const finger = of(name);
      const curlPerUs = 1 / (durationMs * 1000);
      const doneUs = chip.timeUs + durationMs * 1000;
      return new Promise((done) => {
        Object.assign(finger, { wanted, curlPerUs, doneUs, done });
      });
    },
    curl: (name) => of(name).curl,
    disturb(bytes) {
      disturbance = bytes;
    },
    async quit() {
      running = false;
      name.forget();
      bridge.stdin.end();
      await ended;
    },
  };
}

/** Resolves with the text up to the first line feed; all that follows goes to `rest`. */
function firstLine(stream: NodeJS.ReadableStream, rest: (bytes: Uint8Array) => void): Promise<string> {
  let head: Buffer | undefined = Buffer.alloc(0);
  return new Promise((resolve, reject) => {
    stream.on('end', () => reject(new Error('pty-bridge ended')));
    stream.on('data', (bytes: Buffer) => {
      if (!head) {
        rest(bytes);
        return;
      }
      head = Buffer.concat([head, bytes]);
      const end = head.indexOf('\n');
      if (end < 0) return;
      const [line, more] = [head.toString('utf8', 0, end), head.subarray(end + 1)];
      head = undefined;
      resolve(line);
      if (more.length > 0) rest(more);
    });
  });
}
