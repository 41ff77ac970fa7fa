import { pino } from 'pino';
import type { FitStore } from '../../src/config/fit-file.js';
import { parseProfile } from '../../src/config/load.js';
import type { TautlineError } from '../../src/errors.js';
import { createGlove } from '../../src/glove/glove.js';
import type { Glove } from '../../src/glove/view.js';
import { codecOf } from '../../src/link/codec-of.js';
import { createGloveFrames, type HostMessages } from '../../src/link/glove-frames.js';
import type { Link, LinkEvents, LinkStatus } from '../../src/link/link.js';
import { FakeClock } from '../link/fake-clock.js';

const nothing = (): void => {};
export const CHANNELS = ['thumb.curl', 'index.curl'];

/** A glove at the end of a link that is always live, and all that is written to it. */
export function gloveOnLink(
  codec: object = { kind: 'frames' },
  {
    clock = new FakeClock(),
    hand = 'right',
    others,
    channels = CHANNELS,
    more = {},
    actuators = [{ role: 'index' }],
    fits,
  }: {
    clock?: FakeClock;
    hand?: 'left' | 'right';
    others?: () => readonly Glove[];
    channels?: readonly string[];
    more?: object;
    actuators?: readonly object[];
    fits?: FitStore;
  } = {},
) {
  const profile = parseProfile(
    JSON.stringify({
      profile: 1,
      gloves: [
        {
          name: 'g',
          hand,
          link: { kind: 'serial', path: '/dev/ttyUSB7' },
          codec,
          channels: channels.map((role) =>
            role.startsWith('wrist.') ? { role, open: 0, closed: 4095 } : { role, open: 500, closed: 3500 },
          ),
          ...more,
          actuators,
        },
      ],
    }),
    'one.yaml',
  );
  const written: { bytes: Uint8Array; urgent: boolean; ms: number }[] = [];
  const warnings: string[] = [];
  const status: LinkStatus = { state: 'closed', address: '/dev/ttyUSB7' };
  let events: LinkEvents | undefined;
  const startUs = clock.nowUs();
  const link: Link = {
    status,
    open(receiver) {
      events = receiver;
      status.state = 'live';
      receiver.status(status);
    },
    write(bytes, urgent = false) {
      written.push({ bytes: bytes.slice(), urgent, ms: (clock.nowUs() - startUs) / 1000 });
      return true;
    },
    async close() {
      status.state = 'closed';
      events!.status(status);
    },
  };
  const logger = pino(
    { level: 'warn' },
    { write: (line) => void warnings.push((JSON.parse(line) as { msg: string }).msg) },
  );
  const [glove] = profile.gloves;
  const live = createGlove({ profile, glove, link, logger, clock, codec: codecOf(glove), others, fits });
  return {
    clock,
    live,
    written,
    warnings,
    say: (bytes: Uint8Array) => events!.bytes(bytes, clock.nowUs()),
    enter(state: LinkStatus['state'], error?: TautlineError) {
      Object.assign(status, { state, error });
      events!.status(status);
    },
  };
}

export const heardBy = (messages: Partial<HostMessages>) =>
  createGloveFrames({
    askHello: nothing,
    resist: nothing,
    release: nothing,
    ping: nothing,
    rate: nothing,
    pulse: nothing,
    ...messages,
  });
export const HELLO = {
  protocol: 1,
  hand: 'right',
  deviceId: '0123456789abcdef',
  firmwareVersion: 1,
  sampleRateHz: 250,
  channels: CHANNELS.map((role) => ({ role: role as 'index.curl', bits: 12 })),
  actuators: [{ role: 'index', kind: 'stringStop' }],
} as const;
