import type { Logger } from 'pino';
import { logEvent } from '../log/events.js';
import type { Channel } from '../sensing/channels.js';
import type { Verdict } from '../sensing/health/verdicts.js';

/** Shortest time between two lines about a channel: a loose wire changes its verdict many times a second. */
export const VERDICT_LOG_US = 10_000_000;

/** Logs what is wrong with the channels of one glove: each change once, the newest always, if late. */
export interface VerdictLog {
  /** Call it when any verdict may have changed. */
  take(verdicts: readonly Verdict[], channels: readonly Channel[], nowUs: number): void;
  /** Writes what had to wait; call it regularly. */
  flush(nowUs: number): void;
}

interface ChannelLog {
  /** The newest verdict, and whether it waits to be written. */
  verdict: Verdict['kind'];
  evidence: string;
  waits: boolean;
  /** Faults that had to wait and were superseded. */
  leftOut: number;
  writtenUs: number;
}

export function createVerdictLog(logger: Logger, glove: string): VerdictLog {
  const logs = new Map<string, ChannelLog>();
  /** Some channel waits. */
  let waiting = false;

  function write(role: string, log: ChannelLog, nowUs: number): void {
    const { verdict, evidence, leftOut } = log;
    const left = leftOut === 0 ? '' : ` (${leftOut} more since the last line)`;
    logEvent(
      logger,
      'channel.verdict',
      { glove, role, verdict, ...(leftOut > 0 && { leftOut }) },
      `${role}: ${evidence}${left}`,
    );
    log.waits = false;
    log.leftOut = 0;
    log.writtenUs = nowUs;
  }

  function flush(nowUs: number): void {
    if (!waiting) return;
    waiting = false;
    for (const [role, log] of logs) {
      if (!log.waits) continue;
      if (nowUs - log.writtenUs >= VERDICT_LOG_US) write(role, log, nowUs);
      else waiting = true;
    }
  }

  return {
    take(verdicts, channels, nowUs) {
      verdicts.forEach(({ kind, evidence }, index) => {
        const { role } = channels[index];
        let log = logs.get(role);
        if (!log) {
          log = { verdict: 'healthy', evidence: '', waits: false, leftOut: 0, writtenUs: -VERDICT_LOG_US };
          logs.set(role, log);
        }
        if (log.verdict === kind) return;
        if (log.waits) log.leftOut++;
        log.verdict = kind;
        log.evidence = evidence;
        // Recovery gets no line of its own; a fault that came and went while it waited counts as left out.
        log.waits = kind !== 'healthy';
        if (log.waits) waiting = true;
      });
      flush(nowUs);
    },
    flush,
  };
}
