import type { DeviceState, Hello } from '../../src/link/codec.js';
import { createGloveFrames, type GloveFrames } from '../../src/link/glove-frames.js';
import { SIMULATED_ACTUATORS, SIMULATED_CHANNELS } from '../../src/link/simulated-glove.js';
import { ACTUATOR_KIND, ACTUATOR_ROLE, CHANNEL_ROLE, FAULT_BIT } from '../../src/protocol/link-table.js';
import type { Random } from './random.js';

const keys = <T extends object>(table: T) => Object.keys(table) as (keyof T & string)[];
const ignore = () => {};

/** Bytes as a broken, foreign or malicious glove could send them: from noise to well-formed nonsense. */
export interface HostileBytes {
  /** One read from the port. */
  chunk(): Uint8Array;
  /** A sound glove talks at present: 10 ms lie between two reads. */
  readonly calm: boolean;
  /** A sound hello of each hand. */
  firstHellos(): Uint8Array[];
}

const SOUND_HELLO: Hello = {
  protocol: 1,
  hand: 'right',
  deviceId: '0123456789abcdef',
  firmwareVersion: 1,
  sampleRateHz: 100,
  channels: SIMULATED_CHANNELS.map(({ role }) => ({ role, bits: 12 })),
  actuators: SIMULATED_ACTUATORS.map((role) => ({ role, kind: 'stringStop' })),
};

export function createHostileBytes(random: Random): HostileBytes {
  const frames: GloveFrames = createGloveFrames({
    askHello: ignore,
    resist: ignore,
    release: ignore,
    ping: ignore,
    rate: ignore,
    pulse: ignore,
  });
  const channels = new Uint16Array(32);
  let deviceUs = random.below(2 ** 32);
  let usual = 10;
  let hello = randomHello();

  function randomHello(): Hello {
    usual = random.below(33);
    return {
      protocol: random.oneIn(8) ? random.below(256) : 1,
      hand: random.pick(['left', 'right'] as const),
      deviceId: random.bytes(8).toString('hex'),
      firmwareVersion: random.below(65536),
      sampleRateHz: random.pick([0, 1, 250, 1000, 65535, random.below(65536)]),
      channels: Array.from({ length: usual }, () => ({
        role: random.pick(keys(CHANNEL_ROLE)),
        bits: random.below(18),
      })),
      actuators: Array.from({ length: random.below(9) }, () => ({
        role: random.pick(keys(ACTUATOR_ROLE)),
        kind: random.pick(keys(ACTUATOR_KIND)),
      })),
    };
  }

  function randomState(): DeviceState {
    return {
      batteryMv: random.below(65536),
      ...(random.oneIn(2) ? {} : { temperatureC: random.below(65536) / 10 - 3276.8 }),
      faults: keys(FAULT_BIT).filter(() => random.oneIn(3)),
      framesDropped: random.below(65536),
      watchdogTrips: random.below(65536),
      positions: Array.from({ length: random.below(9) }, () => random.below(65536)),
    };
  }

  function samples(): Uint8Array {
    // Device time that runs, jumps, stands and goes back.
    const step = random.oneIn(50) ? random.below(2 ** 32) : random.oneIn(20) ? 0 : 1000 + random.below(4000);
    deviceUs = (deviceUs + step) >>> 0;
    const count = random.oneIn(30) ? random.below(33) : usual;
    const wild = random.oneIn(10);
    for (let i = 0; i < count; i++) {
      const value = wild ? random.below(65536) : channels[i] + random.below(61) - 30;
      channels[i] = wild ? value : Math.max(0, Math.min(4095, value));
    }
    return frames.samples(deviceUs, random.oneIn(40) ? random.below(65536) : 0, channels, count);
  }

  function frame(): Uint8Array {
    const kind = random.below(200);
    if (kind < 170) return samples();
    if (kind < 173) return frames.hello(hello);
    if (kind < 174) {
      hello = randomHello();
      return frames.hello(hello);
    }
    if (kind < 182) return frames.state(randomState());
    if (kind < 192) return frames.pong(random.oneIn(2) ? random.below(64) : random.below(2 ** 32), deviceUs);
    return frames.note(
      random.oneIn(4) ? '\u0000\u001b[2J\n'.repeat(60) : random.bytes(40).toString('latin1'),
    );
  }

  function damaged(bytes: Buffer): Buffer {
    const at = random.below(bytes.length);
    switch (random.below(5)) {
      case 0:
        bytes[at] ^= 1 << random.below(8);
        return bytes;
      case 1:
        return bytes.subarray(0, at);
      case 2:
        return Buffer.concat([bytes.subarray(0, at), random.bytes(random.below(20)), bytes.subarray(at)]);
      case 3:
        return Buffer.concat([bytes, bytes.subarray(at)]);
      default:
        bytes[at] = 0;
        return bytes;
    }
  }

  /** Plain text, numbers and separators, for gloves that talk in lines. */
  function lines(): Buffer {
    const parts: string[] = [];
    for (let line = random.below(20); line >= 0; line--) {
      const columns = random.oneIn(20) ? random.below(500) : random.below(12);
      for (let i = 0; i < columns; i++) {
        const odd = ['', '-1', '1e9', 'NaN', '99999999999999999999', '0x1f', ' 12 ', 'index'];
        parts.push(
          random.oneIn(10) ? random.pick(odd) : String(random.below(4096)),
          random.pick([',', ',', ';', '\t']),
        );
      }
      parts.push(random.pick(['\n', '\r\n', '\n', '\r', '']));
    }
    return Buffer.from(parts.join(''));
  }

  /** A sound glove that says what it is and moves, for a while: what is hostile must meet a service at work. */
  let calmLeft = 300;
  let helloLeft = 1;
  function calm(): Uint8Array {
    if (helloLeft-- > 0) return frames.hello(SOUND_HELLO);
    deviceUs = (deviceUs + 10_000) >>> 0;
    const wave = 0.5 - 0.5 * Math.cos(deviceUs / 300_000);
    for (let i = 0; i < SOUND_HELLO.channels.length; i++) {
      channels[i] = 900 + Math.round(wave * 2200) + random.below(9) - 4;
    }
    return frames.samples(deviceUs, 0, channels, SOUND_HELLO.channels.length);
  }

  return {
    firstHellos: () =>
      (['left', 'right'] as const).map((hand) => Uint8Array.from(frames.hello({ ...SOUND_HELLO, hand }))),
    get calm() {
      return calmLeft > 0;
    },
    chunk() {
      if (calmLeft > 0) {
        calmLeft--;
        return Uint8Array.from(calm());
      }
      if (random.oneIn(300)) {
        calmLeft = 300;
        helloLeft = 1;
      }
      switch (random.below(20)) {
        case 0:
          return random.bytes(1 + random.below(4096));
        case 1:
          return Buffer.alloc(1 + random.below(4096), random.pick([0, 1, 255]));
        case 2:
          return lines();
      }
      const many = random.oneIn(20) ? 60 : 1 + random.below(6);
      const parts: Buffer[] = [];
      for (let i = 0; i < many; i++) {
        const whole = Buffer.from(frame());
        parts.push(random.oneIn(15) ? damaged(whole) : whole);
      }
      return Buffer.concat(parts);
    },
  };
}
