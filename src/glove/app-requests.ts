import type { GloveParts } from './lifecycle.js';
import type { Glove } from './view.js';

/** What apps and the wearer ask of one glove; the recorder hears of each. */
export type AppRequests = Pick<
  Glove,
  | 'resist'
  | 'touch'
  | 'pulse'
  | 'release'
  | 'readResistance'
  | 'recordResistance'
  | 'drop'
  | 'track'
  | 'rezero'
  | 'arm'
  | 'disarm'
>;

export function createAppRequests({
  arming,
  chain,
  forces,
  listeners,
  time,
  wrist,
}: GloveParts): AppRequests {
  const { resist, touch, pulse, release, drop, read, record } = forces;
  return {
    ...{ resist, touch, pulse, release, readResistance: read, recordResistance: record },
    drop(app) {
      wrist.drop(app);
      drop(app);
    },
    track(request, app = '', name = app) {
      const nowUs = time.nowUs();
      const outcome = wrist.track(request, nowUs, app, name);
      // With its time, so that a replay places the hand as it was placed.
      const timed = { ...request, timeUs: request.timeUs ?? nowUs };
      listeners.asked(app, timed, 'refused' in outcome ? outcome.refused : undefined);
      return outcome;
    },
    rezero(by) {
      chain.now.sensing.rezero();
      listeners.asked(by, { type: 'rezero' });
    },
    arm: arming.arm,
    disarm(by, who) {
      arming.disarm(by, who);
      listeners.asked(by, { type: 'disarm' });
    },
  };
}
