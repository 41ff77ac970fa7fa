import { Ajv } from 'ajv';
import { pino } from 'pino';
import { type Profile, ProfileSchema } from '../../src/config/schema.js';
import type { TautlineError } from '../../src/errors.js';
import { createGlove, type LiveGlove } from '../../src/glove/glove.js';
import { FINGERS, type HandSide } from '../../src/hand/joints.js';
import type { Link, LinkEvents, LinkStatus } from '../../src/link/link.js';
import { type HostGlove, startHostGlove } from '../firmware/host-glove.js';
import { FakeClock } from '../link/fake-clock.js';

/**
 * The service's whole chain for a glove, and the real firmware, with time turned by hand: the same on every machine,
 * however busy, and as fast as it goes.
 */
export interface TurnedChain {
  readonly glove: LiveGlove;
  readonly device: HostGlove;
  readonly clock: FakeClock;
  /** Time of the device clock's 0, µs. */
  readonly startUs: number;
  /** Time passes, a step at a time; what is sent within a step is heard at its end. */
  wait(ms: number): Promise<void>;
  /** The link changes its state, as one that loses its port does. */
  enter(state: LinkStatus['state'], error?: TautlineError): void;
  /** One step, after these commands to the firmware. */
  step(commands?: readonly string[]): Promise<void>;
  /**
   * Several steps of that length (at most 50 ms), each after its commands. One round trip to the firmware for all: fast,
   * but what the service sends meanwhile gets there after the last.
   */
  steps(ms: number, steps: readonly (readonly string[])[]): Promise<void>;
  end(): Promise<void>;
}

export interface TurnedChainOptions {
  profile: Profile;
  gloveArgs?: readonly string[];
  /** Length of a step, at most 50. */
  stepMs?: number;
  /** Added each way, for a line and a radio that take their time. */
  latencyMs?: number;
  /** What a bad cable does to what the glove sends; undefined: nothing gets through. */
  cable?: (bytes: Buffer) => Buffer | undefined;
  /** Commands to the firmware before anything is sent. */
  before?: readonly string[];
  /** Begin although nothing that is understood comes. */
  unheard?: boolean;
}

export async function startTurnedChain(options: TurnedChainOptions): Promise<TurnedChain> {
  const { profile, gloveArgs = [], stepMs = 1, latencyMs = 0 } = options;
  const [gloveProfile] = profile.gloves;
  const device = await startHostGlove([
    ...['--manual-time', '--hand', gloveProfile.hand],
    ...['--channels', gloveProfile.channels.map(({ role }) => role).join(',')],
    ...gloveArgs,
  ]);
  const clock = new FakeClock();
  const startUs = clock.nowUs();
  let events: LinkEvents | undefined;
  const toGlove: { atUs: number; hex: string }[] = [];
  const toHost: { atUs: number; bytes: Buffer }[] = [];
  const link: Link = {
    status: { state: 'live', address: 'host glove' },
    open(listener) {
      events = listener;
      events.status(link.status);
    },
    write(bytes) {
      toGlove.push({ atUs: clock.nowUs() + 1000 * latencyMs, hex: Buffer.from(bytes).toString('hex') });
      return true;
    },
    close: async () => {},
  };
  const logger = pino({ level: 'silent' });
  const glove = createGlove({ profile, glove: gloveProfile, link, clock, logger });

  /** Steps of one length; all commands go out at once, so what the glove is sent meanwhile waits for the end. */
  const pass = async (ms: number, steps: readonly (readonly string[])[]): Promise<void> => {
    const answers = steps.map((commands) => {
      let hex = '';
      while (toGlove.length > 0 && toGlove[0].atUs <= clock.nowUs()) hex += toGlove.shift()!.hex;
      const said = commands.map((line) => device.command(line));
      const answer = device.command(`exchange ${ms} ${hex}`);
      return Promise.all([answer, ...said]);
    });
    for (const answered of answers) {
      const [answer] = await answered;
      await clock.advance(ms);
      const left = Buffer.from(answer.slice('bytes '.length), 'hex');
      const sent = (options.cable ? options.cable(left) : left) ?? Buffer.alloc(0);
      if (sent.length > 0) toHost.push({ atUs: clock.nowUs() + 1000 * latencyMs, bytes: sent });
      while (toHost.length > 0 && toHost[0].atUs <= clock.nowUs()) {
        events?.bytes(toHost.shift()!.bytes, clock.nowUs());
      }
    }
  };
  const wait = async (ms: number): Promise<void> => {
    for (let left = Math.max(ms, stepMs); left > 1e-9; left -= stepMs)
      await pass(Math.min(stepMs, left), [[]]);
  };

  for (const line of options.before ?? []) await device.command(line);
  glove.start();
  while (!glove.frame.valid && !options.unheard) await wait(stepMs);
  return {
    glove,
    device,
    clock,
    startUs,
    wait,
    enter(state, error) {
      Object.assign(link.status, { state, error });
      events?.status(link.status);
    },
    step: (commands = []) => pass(stepMs, [commands]),
    steps: (ms, steps) => pass(ms, steps),
    async end() {
      await glove.close();
      await device.quit();
    },
  };
}

const ajv = new Ajv({ useDefaults: true, discriminator: true, strict: false });
const isProfile = ajv.compile(ProfileSchema);

/** What the host glove's channels read at open and closed hand, with its usual 12 bits. */
export const HOST_RANGE = { open: 491, closed: 3604 } as const;

interface TurnedProfileOptions {
  roles?: readonly string[];
  safety?: Partial<Profile['safety']>;
  buttons?: Record<string, number>;
}

/** A profile of the host glove: five curls and five stops, unless told otherwise. */
export function turnedProfile(
  hand: HandSide,
  actuator: Record<string, unknown> = { kind: 'stringStop' },
  { roles = FINGERS.map((finger) => `${finger}.curl`), safety = {}, buttons = {} }: TurnedProfileOptions = {},
): Profile {
  const profile: unknown = {
    profile: 1,
    safety,
    gloves: [
      {
        name: 'host glove',
        hand,
        link: { kind: 'serial', path: 'none' },
        channels: roles.map((role) => ({ role, ...HOST_RANGE })),
        actuators: FINGERS.map((finger) => ({ role: finger, ...actuator })),
        buttons,
      },
    ],
  };
  if (!isProfile(profile)) throw new Error(ajv.errorsText(isProfile.errors));
  return profile as Profile;
}
