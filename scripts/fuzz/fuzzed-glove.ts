import { createGlove, type LiveGlove } from '../../src/glove/glove.js';
import { codecOf } from '../../src/link/codec-of.js';
import { createGloveFrames, type GloveFrames } from '../../src/link/glove-frames.js';
import type { Link, LinkEvents, LinkStatus } from '../../src/link/link.js';
import { silentLogger, simulatedProfile } from '../simulated-session.js';
import { createSteppedClock } from './stepped-clock.js';

const nothing = (): void => {};

/** A real glove chain at the end of a link that takes whatever bytes it is given, on a clock turned by hand. */
export interface FuzzedGlove {
  glove: LiveGlove;
  push(bytes: Uint8Array): void;
  /** Lets time pass; beats run. */
  pass(ms: number): void;
  /** A sound glove comes to the link: it says hello and sends samples for so long. */
  sound(ms: number): void;
  frames: GloveFrames;
  /** Bytes written to the glove. */
  written(): number;
}

export function createFuzzedGlove(): FuzzedGlove {
  const profile = simulatedProfile();
  const [glove] = profile.gloves;
  const clock = createSteppedClock();
  let events: LinkEvents | undefined;
  let written = 0;
  const status: LinkStatus = { state: 'closed', address: 'fuzzed' };
  const link: Link = {
    status,
    open(receiver) {
      events = receiver;
      status.state = 'live';
      receiver.status(status);
    },
    write(bytes) {
      written += bytes.length;
      return true;
    },
    async close() {
      status.state = 'closed';
    },
  };
  const live = createGlove({
    profile,
    glove,
    link,
    logger: silentLogger,
    codec: codecOf(glove),
    clock,
  });
  const frames = createGloveFrames({
    askHello: nothing,
    resist: nothing,
    release: nothing,
    ping: nothing,
    rate: nothing,
    pulse: nothing,
  });
  live.start();
  let deviceUs = 0;
  const channels = glove.channels.map(({ role, bits }) => ({ role, bits }));
  const counts = new Uint16Array(channels.length);
  const self: FuzzedGlove = {
    glove: live,
    frames,
    written: () => written,
    push: (bytes) => events!.bytes(bytes, clock.nowUs()),
    pass: (ms) => clock.advance(ms * 1000),
    sound(ms) {
      // What came before may have left part of a frame.
      self.push(Uint8Array.of(0));
      self.push(
        frames.hello({
          protocol: 1,
          hand: glove.hand,
          deviceId: '0123456789abcdef',
          firmwareVersion: 1,
          sampleRateHz: 250,
          channels,
          actuators: glove.actuators.map(({ role, kind }) => ({ role, kind })),
        }),
      );
      for (let t = 0; t < ms; t += 4, deviceUs = (deviceUs + 4000) >>> 0) {
        channels.forEach((_, i) => {
          counts[i] = 1500 + Math.round(400 * Math.sin(deviceUs / 5e5 + i));
        });
        self.push(frames.samples(deviceUs, 0, counts, counts.length));
        self.pass(4);
      }
    },
  };
  return self;
}
