import { MAX_CHANNELS, MESSAGE, PROTOCOL_VERSION } from '../protocol/link-table.js';
import type { GloveCodec, GloveMessages, Samples } from './codec.js';
import {
  FIXED_LENGTH,
  readHello,
  readNote,
  readPong,
  readSamples,
  readState,
  writeResist,
} from './messages.js';
import { BODY_START, createPacketDecoder, createPacketEncoder, newCounters } from './packets.js';

/**
 * The host's side of the link protocol.
 *
 *   chunk -> packets.ts (cut at 0, COBS, CRC, seq) -> messages.ts (body) -> GloveMessages
 */
export function createFrameCodec(messages: GloveMessages): GloveCodec {
  const counters = newCounters();
  const samples: Samples = {
    seq: 0,
    deviceTimeUs: 0,
    buttons: 0,
    channelCount: 0,
    channels: new Uint16Array(MAX_CHANNELS),
  };
  let expectedSeq = -1;
  const decoder = createPacketDecoder((payload, bodyEnd) => {
    switch (payload[0]) {
      case MESSAGE.samples: {
        if (!readSamples(payload, bodyEnd, samples)) return 'malformed';
        const seq = payload[1];
        if (expectedSeq >= 0) counters.lost += (seq - expectedSeq) & 0xff;
        expectedSeq = (seq + 1) & 0xff;
        samples.seq = seq;
        messages.samples(samples);
        return 'frames';
      }
      case MESSAGE.hello: {
        const hello = readHello(payload, bodyEnd);
        if (!hello) return 'malformed';
        messages.hello(hello);
        return 'frames';
      }
      case MESSAGE.state: {
        const state = readState(payload, bodyEnd);
        if (!state) return 'malformed';
        messages.state(state);
        return 'frames';
      }
      case MESSAGE.pong:
        if (bodyEnd - BODY_START !== FIXED_LENGTH.pong) return 'malformed';
        messages.pong(readPong(payload));
        return 'frames';
      case MESSAGE.note:
        messages.note(readNote(payload, bodyEnd));
        return 'frames';
      default:
        return 'unknownType';
    }
  }, counters);
  const out = createPacketEncoder();
  return {
    counters,
    push: decoder.push,
    reset() {
      decoder.reset();
      expectedSeq = -1;
    },
    askHello() {
      out.begin(MESSAGE.askHello);
      out.u8(PROTOCOL_VERSION);
      return out.end();
    },
    resist(validForMs, stops, efforts, count) {
      out.begin(MESSAGE.resist);
      writeResist(out, validForMs, stops, efforts, count);
      return out.end();
    },
    release() {
      out.begin(MESSAGE.release);
      return out.end();
    },
    ping(token) {
      out.begin(MESSAGE.ping);
      out.u32(token);
      return out.end();
    },
    rate(sampleRateHz) {
      out.begin(MESSAGE.rate);
      out.u16(sampleRateHz);
      return out.end();
    },
    pulse(actuator, amplitude, durationMs, frequencyHz) {
      out.begin(MESSAGE.pulse);
      out.u8(actuator);
      out.u8(amplitude);
      out.u16(durationMs);
      out.u16(frequencyHz);
      return out.end();
    },
  };
}
