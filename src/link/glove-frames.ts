import { MAX_ACTUATORS, MESSAGE } from '../protocol/link-table.js';
import type { DeviceState, Hello, LinkCounters } from './codec.js';
import {
  FIXED_LENGTH,
  type Resist,
  readResist,
  u16At,
  u32At,
  writeHello,
  writeSamples,
  writeState,
} from './messages.js';
import { BODY_START, createPacketDecoder, createPacketEncoder, newCounters } from './packets.js';

/** What a glove receives. */
export interface HostMessages {
  askHello(protocol: number): void;
  /** @param resist reused: valid only during the call */
  resist(resist: Resist): void;
  release(): void;
  ping(token: number): void;
  rate(sampleRateHz: number): void;
  /** @param amplitude 0..255 of full */
  pulse(actuator: number, amplitude: number, durationMs: number, frequencyHz: number): void;
}

/** The glove's side of the link protocol: for the simulated glove, for tests, and for gloves that run on Node. */
export interface GloveFrames {
  readonly counters: LinkCounters;
  push(chunk: Uint8Array): void;
  reset(): void;
  // Each gives a view of an internal buffer that is valid until the next call.
  hello(hello: Hello): Uint8Array;
  samples(deviceTimeUs: number, buttons: number, channels: Uint16Array, channelCount: number): Uint8Array;
  state(state: DeviceState): Uint8Array;
  pong(token: number, deviceTimeUs: number): Uint8Array;
  /** Text is cut at a whole character when it is longer than a frame. */
  note(text: string): Uint8Array;
}

export function createGloveFrames(messages: HostMessages): GloveFrames {
  const counters = newCounters();
  const resist: Resist = {
    validForMs: 0,
    count: 0,
    stops: new Uint16Array(MAX_ACTUATORS),
    efforts: new Uint8Array(MAX_ACTUATORS),
  };
  const decoder = createPacketDecoder((payload, bodyEnd) => {
    const length = bodyEnd - BODY_START;
    switch (payload[0]) {
      case MESSAGE.askHello:
        if (length !== FIXED_LENGTH.askHello) return 'malformed';
        messages.askHello(payload[BODY_START]);
        return 'frames';
      case MESSAGE.resist:
        if (!readResist(payload, bodyEnd, resist)) return 'malformed';
        messages.resist(resist);
        return 'frames';
      case MESSAGE.release:
        if (length !== FIXED_LENGTH.release) return 'malformed';
        messages.release();
        return 'frames';
      case MESSAGE.ping:
        if (length !== FIXED_LENGTH.ping) return 'malformed';
        messages.ping(u32At(payload, BODY_START));
        return 'frames';
      case MESSAGE.rate:
        if (length !== FIXED_LENGTH.rate) return 'malformed';
        messages.rate(u16At(payload, BODY_START));
        return 'frames';
      case MESSAGE.pulse:
        if (length !== FIXED_LENGTH.pulse) return 'malformed';
        messages.pulse(
          payload[BODY_START],
          payload[BODY_START + 1],
          u16At(payload, BODY_START + 2),
          u16At(payload, BODY_START + 4),
        );
        return 'frames';
      default:
        return 'unknownType';
    }
  }, counters);
  const out = createPacketEncoder();
  return {
    counters,
    push: decoder.push,
    reset: decoder.reset,
    hello(hello) {
      out.begin(MESSAGE.hello);
      writeHello(out, hello);
      return out.end();
    },
    samples(deviceTimeUs, buttons, channels, channelCount) {
      out.begin(MESSAGE.samples);
      writeSamples(out, deviceTimeUs, buttons, channels, channelCount);
      return out.end();
    },
    state(state) {
      out.begin(MESSAGE.state);
      writeState(out, state);
      return out.end();
    },
    pong(token, deviceTimeUs) {
      out.begin(MESSAGE.pong);
      out.u32(token);
      out.u32(deviceTimeUs);
      return out.end();
    },
    note(text) {
      out.begin(MESSAGE.note);
      out.text(text);
      return out.end();
    },
  };
}
