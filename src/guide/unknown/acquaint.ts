import type { NewGlove } from '../../config/new-profile.js';
import { guessedCounts } from '../../config/profile-lines.js';
import type { GloveProfile } from '../../config/schema.js';
import { createClosingProfile } from '../../hand/closing.js';
import type { HandSide } from '../../hand/joints.js';
import type { Hello } from '../../link/codec.js';
import type { ChannelRole } from '../../protocol/link-table.js';
import { compileChannels } from '../../sensing/channels.js';
import { fitChannels } from '../fit.js';
import { createGuidedRun, type GuidedRun } from '../guided-run.js';
import { firstMoves, furtherMoves, namingMoves } from '../moves.js';
import { bitsOf, nameColumns, openQuestions } from './columns.js';
import type { Clockwork, LineFormat } from './line-format.js';

/** Gets to know a glove of unknown build, while its wearer does what the run asks for. Takes time as an argument. */
export interface Acquaintance {
  readonly run: GuidedRun;
  /** One reading: the channels of a hello, or all columns of a line. @param buttons bit field, of a glove with a hello */
  sample(values: ArrayLike<number>, timeS: number, buttons?: number): void;
  /** What was found; call it when the run is over, or instead of it. */
  found(): Omit<NewGlove, 'name' | 'link'>;
}

/** A glove that says what its channels are: only their ends are to be found. */
export function acquaintByHello(hello: Hello): Acquaintance {
  const sent = hello.channels.map(({ role }) => role);
  const known = hello.channels.filter(({ role }, i) => role !== 'spare' && sent.indexOf(role) === i);
  const profile: Pick<GloveProfile, 'channels'> = {
    channels: known.map(({ role, bits }) => ({ role, bits, inverted: false, ...guessedCounts(role, bits) })),
  };
  const closing = createClosingProfile();
  const channels = compileChannels(profile, sent, closing);
  const run = createGuidedRun(channels, firstMoves(channels));
  const counts = new Uint16Array(channels.length);
  const buttonBits: number[] = [];
  return {
    run,
    sample(values, timeS, buttons = 0) {
      for (const [i, { source }] of channels.entries()) counts[i] = values[source];
      for (let bit = 0; bit < 16; bit++) {
        if (buttons & (1 << bit) && !buttonBits.includes(bit)) buttonBits.push(bit);
      }
      run.sample(counts, timeS);
    },
    found() {
      const fitted = fitChannels(run.record, channels, closing).channels;
      return {
        hand: hello.hand,
        channels: hello.channels.map(({ role, bits }) => {
          const fit = fitted.find((one) => one.role === role);
          if (!fit) {
            const silent = role === 'spare' || role.startsWith('wrist.') || role === 'thumbRest';
            return silent ? { role, bits, counts: guessedCounts(role, bits) } : { role, bits };
          }
          return { role, bits, counts: whole(fit.open, fit.closed, fit.centre, bits) };
        }),
        actuators: hello.actuators,
        buttonBits,
      };
    },
  };
}

/**
 * A glove that prints lines of numbers.
 * @param seen the lines so far, as numbers @param rateHz lines a second
 */
export function acquaintByLines(
  format: LineFormat,
  clockwork: readonly (Clockwork | undefined)[],
  seen: readonly (readonly number[])[],
  rateHz: number,
  hand: HandSide,
): Acquaintance {
  // What is no number, or a clock, cannot be a sensor.
  const sensors = Array.from({ length: format.columns }, (_, c) => c).filter(
    (c) => format.numeric[c] && clockwork[c] === undefined,
  );
  let greatest = 0;
  const notice = (values: ArrayLike<number>) => {
    for (const c of sensors) if (values[c] <= MOST) greatest = Math.max(greatest, values[c]);
  };
  for (const values of seen) notice(values);
  const maxCounts = 2 ** bitsOf(greatest) - 1;
  const watched = sensors.map(
    (_, i) => ({ source: i, kind: 'curl', finger: -1, lookup: { maxCounts } }) as const,
  );
  const run = createGuidedRun(watched, namingMoves(), (record) =>
    furtherMoves(openQuestions(record, bitsOf(greatest))),
  );
  const counts = new Uint16Array(sensors.length);
  return {
    run,
    sample(values, timeS) {
      notice(values);
      for (const [i, c] of sensors.entries()) counts[i] = Math.min(MOST, Math.max(0, Math.round(values[c])));
      run.sample(counts, timeS);
    },
    found() {
      const bits = bitsOf(greatest);
      const named = nameColumns(run.record, bits);
      const at = (c: number) => named[sensors.indexOf(c)];
      const columns = Array.from({ length: format.columns }, (_, c) => clockwork[c] ?? at(c)?.role ?? 'skip');
      const channels = named.flatMap(({ role, open, closed, centre, note }) =>
        role === 'skip' || role === 'buttons'
          ? []
          : [
              {
                role: role as ChannelRole,
                bits,
                counts: whole(open, closed, centre, bits),
                ...(note ? { note } : {}),
              },
            ],
      );
      const buttons = sensors[named.findIndex(({ role }) => role === 'buttons')];
      return {
        hand,
        channels,
        actuators: [],
        buttonBits: buttons === undefined ? [] : bitsSeen(run, sensors.indexOf(buttons)),
        lines: {
          separator: format.separator,
          radix: format.radix,
          columns,
          sampleRateHz: Math.max(1, Math.round(rateHz)),
          notes: columns.map((_, c) => at(c)?.note),
        },
      };
    },
  };
}

const MOST = 0xffff;

function bitsSeen({ record }: GuidedRun, column: number): number[] {
  const order: number[] = [];
  for (const value of record.column(column)) {
    for (let bit = 0; bit < 16; bit++) if (value & (1 << bit) && !order.includes(bit)) order.push(bit);
  }
  return order;
}

function whole(open: number, closed: number, centre: number | undefined, bits: number) {
  const clamp = (x: number) => Math.min(2 ** bits - 1, Math.max(0, Math.round(x)));
  const ends = { open: clamp(open), closed: clamp(closed) };
  if (centre === undefined) return ends;
  const middle = clamp(centre);
  return (middle - ends.open) * (middle - ends.closed) < 0 ? { ...ends, centre: middle } : ends;
}
