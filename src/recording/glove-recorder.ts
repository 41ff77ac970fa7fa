import type { Clock } from '../clock.js';
import type { Glove, HandFrame } from '../glove/view.js';
import type { HandSide } from '../hand/joints.js';
import { encodeJointsBinary } from '../stream/encode-binary.js';
import { statusKey, writeDrift, writeFits, writeGlove, writeStatus } from './glove-records.js';
import type { HandRecords } from './session-writer.js';

const HEALTH_US = 200_000;
const RESISTANCE_US = 16_000;
/** A reader that begins in between is off by the drift since then: at most 4 % of a range. */
const DRIFT_US = 10_000_000;

/** Shortest time between two records of a kind; what is held back is written with the next flush. */
interface Throttled {
  writtenUs: number;
  waiting: boolean;
}

/** Follows one glove into a recording. */
export interface GloveRecorder {
  /** Writes what was held back for coming too soon after the last of its kind. */
  flush(): void;
  stop(): void;
}

/**
 * @param part where to write now: a long recording has several parts
 * @param joints records the computed joints as well
 */
export function recordGlove(
  glove: Glove,
  part: () => HandRecords,
  clock: Clock,
  joints: boolean,
): GloveRecorder {
  const due: (() => void)[] = [];
  const hand = (): HandSide => glove.description.hand;
  const since = { event: 0 };
  glove.recordResistance(since);
  const health: Throttled = { writtenUs: 0, waiting: false };
  const drift: Throttled = { writtenUs: clock.nowUs(), waiting: false };
  const resistance: Throttled = { writtenUs: 0, waiting: false };
  let told = statusKey(glove);
  let valid = glove.frame.valid;
  let seq = 0;

  const throttled = (state: Throttled, periodUs: number, write: (timeUs: number) => void) => {
    const maybe = (): void => {
      const nowUs = clock.nowUs();
      state.waiting = nowUs - state.writtenUs < periodUs;
      if (state.waiting) return;
      state.writtenUs = nowUs;
      write(nowUs);
    };
    due.push(() => {
      if (state.waiting) maybe();
    });
    return maybe;
  };
  const writeHealth = throttled(health, HEALTH_US, (timeUs) =>
    part().json(hand(), 'health', timeUs, { type: 'health', ...glove.readHealth() }),
  );
  const writeResistance = throttled(resistance, RESISTANCE_US, (timeUs) =>
    part().json(hand(), 'resistance', timeUs, { type: 'resistance', ...glove.recordResistance(since) }),
  );
  const writeDrifts = throttled(drift, DRIFT_US, (timeUs) => writeDrift(part(), glove, timeUs));
  const pose = Buffer.alloc(4096);

  const unlisten = glove.listen({
    bytes: (chunk, arrivalUs) => part().link(hand(), 'received', arrivalUs, chunk),
    sent: (bytes, timeUs) => part().link(hand(), 'sent', timeUs, bytes),
    frame(frame) {
      if (valid && !frame.valid) writeStatus(part(), glove, clock.nowUs(), 'silent', frame.reason);
      valid = frame.valid;
      if (joints) writeJoints(frame, seq++);
    },
    described() {
      const timeUs = clock.nowUs();
      writeGlove(part(), glove, timeUs);
      writeFits(part(), glove, timeUs);
    },
    health() {
      const key = statusKey(glove);
      if (key !== told) {
        told = key;
        writeStatus(part(), glove, clock.nowUs(), glove.linkStatus.state);
      }
      writeHealth();
      writeDrifts();
    },
    resistance: writeResistance,
    asked(app, request, refusal) {
      const timeUs = clock.nowUs();
      part().json(hand(), 'request', timeUs, { timeUs, app, request, ...(refusal ? { refusal } : {}) });
      if (request.type === 'rezero') writeDrift(part(), glove, timeUs);
    },
  });

  function writeJoints(frame: HandFrame, number: number): void {
    const end = encodeJointsBinary(pose, 0, {
      hand: hand(),
      seq: number >>> 0,
      timeUs: frame.timeUs,
      aheadMs: 0,
      recorded: false,
      space: frame.space,
      valid: frame.valid,
      reason: frame.reason,
      fingerStates: frame.fingerStates,
      poses: frame.poses,
      velocities: undefined,
      pressures: undefined,
    });
    // Next to the bytes that it was computed from: by the time of the session, not the sample's.
    if (end > 0) part().joints(hand(), clock.nowUs(), pose.subarray(0, end));
  }

  return {
    flush() {
      for (const write of due) write();
    },
    stop: unlisten,
  };
}
