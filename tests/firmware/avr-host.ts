import type { DeviceState, Hello } from '../../src/link/codec.js';
import { createFrameCodec } from '../../src/link/frames.js';
import { STOP_FREE } from '../../src/protocol/link-table.js';
import { AvrChip } from './avr-chip.js';
import { AVR_PROGRAM } from './avr-glove.js';

/** As in src/firmware/avr/pins.h. */
export const SERVOS = 5;
export const FREE_US = 900;

export interface Pulse {
  servo: number;
  us: number;
  endUs: number;
}

/** The AVR image in a simulated chip, with a host that notes what it says. All times are the chip's. */
export function startAvrHost(program = AVR_PROGRAM) {
  const samples: { deviceTimeUs: number; buttons: number; counts: number[]; seenUs: number }[] = [];
  const states: DeviceState[] = [];
  const hellos: Hello[] = [];
  const tokens: number[] = [];
  const pulses: Pulse[] = [];
  const codec = createFrameCodec({
    hello: (hello) => hellos.push(hello),
    samples: (s) => {
      const counts = [...s.channels.subarray(0, s.channelCount)];
      samples.push({ deviceTimeUs: s.deviceTimeUs, buttons: s.buttons, counts, seenUs: chip.timeUs });
    },
    state: (state) => states.push(state),
    pong: ({ token }) => tokens.push(token),
    note: () => {},
  });
  const chip = new AvrChip(program, {
    transmitted: (byte) => codec.push(Uint8Array.of(byte)),
    pulse: (servo, us) => pulses.push({ servo, us, endUs: chip.timeUs }),
  });
  const resist = (validForMs: number, actuator: number, stop: number) => {
    const stops = new Uint16Array(SERVOS).fill(STOP_FREE);
    stops[actuator] = stop;
    chip.send(codec.resist(validForMs, stops, new Uint8Array(SERVOS).fill(255), SERVOS));
  };
  const runMs = (ms: number) => chip.run(ms * 1000);
  return { chip, codec, samples, states, hellos, tokens, pulses, resist, runMs };
}

/** A pulse that stops the string somewhere. */
export const held = ({ us }: Pulse) => us > FREE_US + 50;
