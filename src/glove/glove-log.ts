import type { Logger } from 'pino';
import type { GloveProfile } from '../config/schema.js';
import type { Hello } from '../link/codec.js';
import { latencyAdvice } from '../link/latency-advice.js';
import type { Link, LinkStatus } from '../link/link.js';
import type { TimeSync } from '../link/time-sync.js';
import { logEvent } from '../log/events.js';
import type { Sensing } from '../sensing/sensing.js';
import { createVerdictLog } from './verdict-log.js';

/** Writes the log of one glove, each trouble once. */
export interface GloveLog {
  /** Path of a serial link, for advice. */
  serialPath(): string | undefined;
  /** The glove has described itself. @param different from before */
  hello(said: Hello, different: boolean): void;
  note(text: string): void;
  /** Bytes come that are no samples. */
  notUnderstood(why: string): void;
  status(status: LinkStatus): void;
  silent(reason: string): void;
  /** Verdicts of channels, each change once; the newest is always written, if late. */
  verdicts(sensing: Sensing, nowUs: number): void;
  /** Writes what had to wait; call it regularly. */
  flush(nowUs: number): void;
  /** Samples that come in bursts are late, and the wearer can fix that. @returns whether this was news */
  bursts(): boolean;
  signed(what: 'armed' | 'disarmed', hand: string, by: string): void;
}

export interface GloveLogSources {
  glove: GloveProfile;
  link: Link;
  logger: Logger;
  timeSync: TimeSync;
}

export function createGloveLog({ glove, link, logger, timeSync }: GloveLogSources): GloveLog {
  const { name } = glove;
  const serialPath = () => (glove.link.kind === 'serial' ? link.status.address : undefined);
  const verdictLog = createVerdictLog(logger, name);
  let toldTrouble: string | undefined;
  let burstsTold = false;
  return {
    serialPath,
    hello({ hand, deviceId }, different) {
      toldTrouble = undefined;
      if (!different) return;
      logEvent(logger, 'glove.hello', { glove: name, hand, deviceId });
      if (hand === glove.hand) return;
      logEvent(
        logger,
        'glove.otherHand',
        { glove: name },
        `the profile says ${glove.hand}, but this is a ${hand} glove and is used as one: correct "hand" in the profile`,
      );
    },
    note: (text) => logEvent(logger, 'glove.note', { glove: name, text }),
    notUnderstood: (why) => logEvent(logger, 'glove.notUnderstood', { glove: name }, why),
    status({ state, address, error }) {
      if (state === 'live') {
        burstsTold = false;
        logEvent(logger, 'link.live', { glove: name, address });
      }
      // The link is retried forever. A trouble is news when it is a different one, or when the glove was there in between.
      if (!error || error.line === toldTrouble) return;
      toldTrouble = error.line;
      logEvent(logger, 'link.trouble', { glove: name, state, code: error.code }, error.line);
    },
    silent(reason) {
      // A replay that seeks is not in trouble.
      if (!link.recorded) logEvent(logger, 'glove.silent', { glove: name }, reason);
    },
    verdicts: ({ health, channels }, nowUs) => verdictLog.take(health.verdicts, channels, nowUs),
    flush: (nowUs) => verdictLog.flush(nowUs),
    bursts() {
      const path = serialPath();
      if (burstsTold || path === undefined || timeSync.status.batchMs === 0) return false;
      burstsTold = true;
      logEvent(logger, 'link.bursts', { glove: name }, latencyAdvice(timeSync.status.batchMs, path));
      return true;
    },
    signed: (what, hand, by) => logEvent(logger, what, { hand, by }),
  };
}
