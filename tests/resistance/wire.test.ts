import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { FINGERS } from '../../src/hand/joints.js';
import { STOP_FREE, WATCHDOG_MS } from '../../src/protocol/link-table.js';
import { Resistance } from '../../src/resistance/resistance.js';
import { VALID_FOR_MS } from '../../src/resistance/send-schedule.js';
import { all, FIVE_SERVOS, SAFETY } from './profiles.js';

/** What a glove does with the commands: holds the last one until it expires. */
class Glove {
  efforts = all(0);
  stops = all(STOP_FREE);
  untilUs = 0;
  holdsAt(nowUs: number): boolean {
    return nowUs < this.untilUs && this.efforts.some((effort) => effort > 0);
  }
}

/** As expect, without its cost: this is asked a million times. */
function must(holds: boolean, what: string): void {
  if (!holds) throw new Error(`not ${what}`);
}

type Op =
  | { kind: 'resist'; app: number; finger: number; stopAt: number; effort: number; ttlMs: number }
  | { kind: 'drop'; app: number }
  | { kind: 'arm' | 'disarm' | 'none' }
  | { kind: 'link'; live: boolean }
  | { kind: 'silence'; ms: number }
  | { kind: 'sick'; finger: number; ok: boolean };

/** Evenly spread: fc.double favours numbers next to 0, which hold nothing. */
const unit = fc.integer({ min: 0, max: 1000 }).map((n) => n / 1000);
const mostly = fc.constantFrom(true, true, true, true, false);
const finger = fc.integer({ min: 0, max: 4 });
const op: fc.Arbitrary<Op> = fc.oneof(
  {
    weight: 12,
    arbitrary: fc.record({
      kind: fc.constant('resist' as const),
      app: finger,
      finger,
      stopAt: unit,
      effort: unit,
      ttlMs: fc.integer({ min: 1, max: 400 }),
    }),
  },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('drop' as const), app: finger }) },
  {
    weight: 2,
    arbitrary: fc.record({
      kind: fc.constantFrom(
        'arm' as const,
        'arm' as const,
        'arm' as const,
        'disarm' as const,
        'none' as const,
      ),
    }),
  },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('link' as const), live: mostly }) },
  {
    weight: 1,
    arbitrary: fc.record({ kind: fc.constant('silence' as const), ms: fc.constantFrom(0, 20, 80, 120) }),
  },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('sick' as const), finger, ok: mostly }) },
);

describe('the glove at the other end', () => {
  it('holds what the status says, never longer than it is valid, and nothing when the host stops', () => {
    // A command lives through two lost refreshes, and ends before the watchdog of the glove.
    expect(VALID_FOR_MS).toBeLessThan(WATCHDOG_MS);

    let holding = 0;
    fc.assert(
      fc.property(fc.array(op, { minLength: 40, maxLength: 120 }), (ops) => {
        const resistance = new Resistance({ safety: SAFETY, actuators: FIVE_SERVOS, maxSendHz: 50 });
        const glove = new Glove();
        const ok = all(1);
        let nowUs = 1_000_000;
        let live = true;
        let silentUs = 0;
        resistance.arm(nowUs, 'wearer');
        const take = (send: string) => {
          if (send === 'nothing' || !live) return;
          const held = send === 'resist';
          glove.efforts = held ? [...resistance.commands.efforts] : all(0);
          glove.stops = held ? [...resistance.commands.stops] : all(STOP_FREE);
          glove.untilUs = held ? nowUs + VALID_FOR_MS * 1000 : 0;
        };
        for (const one of ops) {
          if (one.kind === 'resist') {
            const { stopAt, effort } = one;
            resistance.requestFingers(
              `app ${one.app}`,
              { [FINGERS[one.finger]]: { stopAt, effort } },
              one.ttlMs,
              nowUs,
            );
          } else if (one.kind === 'drop') resistance.drop(`app ${one.app}`);
          else if (one.kind === 'arm') resistance.arm(nowUs, 'wearer');
          else if (one.kind === 'disarm') {
            take(resistance.disarm(nowUs, 'wearer'));
            if (live) must(!glove.holdsAt(nowUs), 'free in the call itself');
          } else if (one.kind === 'link') live = one.live;
          else if (one.kind === 'silence') silentUs = one.ms * 1000;
          else if (one.kind === 'sick') ok[one.finger] = one.ok ? 1 : 0;

          for (let n = 0; n < 3; n++) {
            nowUs += 4000;
            take(resistance.step(nowUs, all(0.4), ok, nowUs - silentUs, live));
            if (!live) continue;
            for (let at = 0; at < 5; at++) {
              const commanded = resistance.commands.efforts[at];
              if (commanded > 0) holding++;
              // A finger that is free on the host is free on the glove in the same step.
              if (commanded === 0) must(glove.efforts[at] === 0, 'free on both sides');
              // What is held does not run out at the glove.
              else if (glove.efforts[at] > 0) must(glove.untilUs - nowUs > 90_000, 'refreshed in time');
              must(glove.efforts[at] <= (255 * 8) / 15, 'within the tension cap');
              must(
                glove.efforts[at] > 0 === (glove.stops[at] !== STOP_FREE),
                'a stop with an effort, or neither',
              );
            }
          }
        }
        // The host is killed: nothing more is sent.
        expect(glove.holdsAt(nowUs + VALID_FOR_MS * 1000)).toBe(false);
      }),
      { numRuns: 60, seed: 7117 },
    );
    // It was about something.
    expect(holding).toBeGreaterThan(5000);
  });
});
