/** What becomes of a hold in every client, by what the service does. */
import { ERROR_CODES } from '../src/errors.js';
import { PASSING_REFUSALS } from '../src/protocol/constants.js';
import { DISARMED } from '../src/protocol/refusals.js';

/** How a client sees a hold. No connection is said in the words of each client: its message is not compared. */
interface Seen {
  state: 'asking' | 'held' | 'paused' | 'refused' | 'released';
  code: string | null;
  path: string | null;
  message: string | null;
  limited: string | null;
}
/** What the service does from now on, and how the hold ends up. Keys that are absent stay as they were. */
export interface HoldPhase {
  /** Said to the app first. */
  tell?: 'stop' | 'touch' | 'move' | 'free';
  connected?: boolean;
  armed?: boolean;
  /** From request to answer; answers stay in order. */
  delayMs?: number;
  /** The answer while it is armed; null: taken. */
  refusal?: { code: string; message: string; path?: string } | null;
  limited?: string | null;
  seen: Seen;
  /** Whether requests keep coming; absent: a client may ask, or wait until it is said that the glove is armed. */
  asks?: boolean;
  /** It was let go at the service as well. */
  freed?: true;
}

const seen = (state: Seen['state'], more: Partial<Seen> = {}): Seen => ({
  state,
  code: null,
  path: null,
  message: null,
  limited: null,
  ...more,
});
const held = seen('held');
const notConnected = seen('paused', { code: 'notConnected' });
const disarmed = seen('paused', { code: 'disarmed' });
const released = seen('released');
const LIMITED = 'The fit of this glove is too old: half of the force.';

const SCRIPTS: { name: string; phases: HoldPhase[] }[] = [
  {
    name: 'taken, and freed',
    phases: [
      { tell: 'stop', armed: true, seen: held, asks: true },
      { tell: 'move', seen: held, asks: true },
      { tell: 'free', seen: released, asks: false, freed: true },
    ],
  },
  {
    name: 'granted in part, then in full',
    phases: [
      { tell: 'stop', armed: true, limited: LIMITED, seen: seen('held', { limited: LIMITED }), asks: true },
      { limited: null, seen: held, asks: true },
    ],
  },
  {
    name: 'asked for before the wearer arms',
    phases: [
      { tell: 'stop', armed: false, seen: disarmed },
      { armed: true, seen: held, asks: true },
      { armed: false, seen: disarmed, freed: true },
      { armed: true, seen: held, asks: true },
    ],
  },
  {
    name: 'without effort while the glove is disarmed',
    phases: [
      { tell: 'touch', armed: false, seen: held, asks: true },
      { armed: true, seen: held, asks: true },
    ],
  },
  {
    name: 'answered later than the next renewal is due',
    phases: [
      { tell: 'stop', armed: true, delayMs: 190, seen: held, asks: true },
      { tell: 'move', seen: held, asks: true },
      // What is still on its way was asked before.
      { armed: false, seen: disarmed, freed: true },
      { armed: true, seen: held, asks: true },
      { tell: 'free', seen: released, asks: false, freed: true },
    ],
  },
  {
    name: 'without a service for a while',
    phases: [
      { tell: 'stop', armed: true, seen: held, asks: true },
      { connected: false, seen: notConnected, asks: false },
      { connected: true, seen: held, asks: true },
    ],
  },
  {
    name: 'disarmed while there was no service',
    phases: [
      { tell: 'stop', armed: true, seen: held, asks: true },
      { connected: false, armed: false, seen: notConnected, asks: false },
      { connected: true, seen: disarmed },
      { armed: true, seen: held, asks: true },
    ],
  },
  {
    name: 'freed while there is no service',
    phases: [
      { tell: 'stop', armed: true, seen: held, asks: true },
      { connected: false, seen: notConnected, asks: false },
      { tell: 'free', seen: released, asks: false },
      { connected: true, seen: released, asks: false },
    ],
  },
];

/** Every code that there is: asked again after those that pass, and never after the others. */
const refusals = () =>
  Object.entries(ERROR_CODES)
    // Of a disarmed glove the service says so before it is asked.
    .filter(([code]) => code !== DISARMED.code)
    .map(([code, meaning], i) => {
      const message = i % 4 === 1 ? `${meaning} "${code}" \\ é 🧤` : meaning;
      const path = i % 2 === 0 ? `/fingers/${i}/stopAt` : undefined;
      const passes = (PASSING_REFUSALS as readonly string[]).includes(code);
      const refused = seen(passes ? 'paused' : 'refused', { code, message, path: path ?? null });
      return {
        refusal: { code, message, ...(path === undefined ? {} : { path }) },
        seen: refused,
        afterwards: passes ? held : refused,
      };
    });

export const holdVectors = () => ({ scripts: SCRIPTS, refusals: refusals() });
