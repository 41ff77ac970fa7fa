import type { ClosingProfile } from '../hand/closing.js';
import { FINGERS, type HandSide } from '../hand/joints.js';
import type { LinkCounters } from '../link/codec.js';
import type { Clock } from '../link/time-sync.js';
import type { ChannelRole } from '../protocol/link-table.js';
import type { Refusal } from '../protocol/refusals.js';
import type { WhoArms } from '../resistance/governor.js';
import type { Resistance } from '../resistance/resistance.js';
import type { Channel } from '../sensing/channels.js';
import type { Verdict } from '../sensing/health/verdicts.js';
import {
  type ActuatorFit,
  createActuatorFit,
  type FittedStop,
  type StopToFit,
  type UnfittedStop,
} from './actuator-fit.js';
import { type ChannelFinding, judgeCheck } from './check.js';
import { movesToRepeat } from './cross-talk.js';
import { type FitResult, fitChannels } from './fit.js';
import { createGuidedRun, type GuidedRun } from './guided-run.js';
import type { MoveRecord } from './move-record.js';
import { median } from './move-statistics.js';
import { checkMoves, fitMoves } from './moves.js';

/** Leads the wearer of one glove through a check or a fit; what apps, page and command line see is plain data. */
export interface GloveGuide {
  /**
   * Begins anew; a run under way is given up.
   * @param person who is fitted
   * @param leader who leads: the run ends when nothing has been heard of it for LEADER_GONE_US; none: it goes on
   */
  start(task: GuideTask, person?: string, leader?: Leader): void;
  /** A sign of life of whoever leads; of others it counts for nothing. */
  heardOf(leaderId: string): void;
  /** Who leads the run under way, if it is not this one. */
  otherLeader(leaderId: string): Leader | undefined;
  /** Why nobody may arm now: forces are off while the wearer is led, but where a fit itself asks for arming. */
  refusesArming(who: WhoArms): Refusal | undefined;
  /** The wearer says that the present move is made. */
  next(): void;
  stop(reason: string): void;
  /** One sample, while a run is under way. */
  sample(counts: ArrayLike<number>, timeUs: number): void;
  /** What the fit of the actuators feels: at every sample, before the resistance takes its step. */
  feel(nowUs: number, curls: ArrayLike<number>, healthy: ArrayLike<number>, counts: ArrayLike<number>): void;
  /** Called now and then: gives up when the glove has been silent for long. */
  notice(nowUs: number): void;
  readonly running: boolean;
  /** What the wearer is asked now is to arm: `next` does it. */
  readonly asksToArm: boolean;
  /** The glove has string stops whose places can be found by use. */
  readonly canFitStops: boolean;
  /** The fit that the last run found, until another one begins. */
  readonly fit: FitReport | undefined;
  /** The fit of the string stops that the last run found, until another one begins. */
  readonly stops: StopsReport | undefined;
  read(): GuideReport;
}

/** Whoever asked for a run, and shows its prompts to the wearer. */
export interface Leader {
  /** Chosen by itself; '' when it named none. */
  id: string;
  /** For people: "the page", "`tautline fit`". */
  name: string;
}

export const GUIDE_TASKS = ['check', 'fit', 'actuators'] as const;
export type GuideTask = (typeof GUIDE_TASKS)[number];

export interface GuideReport {
  hand: HandSide;
  glove: string;
  state: 'idle' | 'running' | 'done' | 'stopped';
  task?: GuideTask;
  /** Why it was stopped. */
  reason?: string;
  /** The present move. */
  move?: {
    name: string;
    prompt: string;
    /** From 1. */
    number: number;
    count: number;
    /** Part done, 0..1, as far as it can be seen. */
    part: number;
    /** How far to close the hand now, 0..1, for moves that follow a bar. */
    bar?: number;
  };
  check?: CheckReport;
  fit?: FitReport;
  stops?: StopsReport;
}

/** Where the string stops hold, as found by use. */
export interface StopsReport {
  person: string;
  fitted: readonly FittedStop[];
  unfitted: readonly UnfittedStop[];
  /** It is in use, and saved. */
  accepted: boolean;
}

export interface FitReport extends FitResult {
  person: string;
  /** Between the skins of thumb and index tip in the pinch, after the fit, mm; what is left is the error. */
  pinchGapMm?: number;
  /** It is in use, and saved. */
  accepted: boolean;
}

export interface CheckReport {
  /** All channels healthy and the link well. */
  ok: boolean;
  channels: {
    role: ChannelRole;
    verdict: string;
    evidence: string;
    remedy: string;
    /** Part of the converter used, 0..1. */
    used: number;
    noiseCounts: number;
  }[];
  link: LinkReport;
}

export interface LinkReport {
  ok: boolean;
  /** Samples a second: measured, and what the glove said. */
  rateHz: number;
  promisedHz: number;
  /** During the check. */
  lost: number;
  badCrc: number;
  malformed: number;
  /** Silences of more than 0.1 s. */
  gaps: number;
  jitterMs: number;
  remedy: string;
}

export interface GuideSources {
  name: string;
  hand(): HandSide;
  channels(): readonly Channel[];
  promisedHz(): number;
  counters: LinkCounters;
  clock: Clock;
  closing(): ClosingProfile;
  /** What a check found, one verdict a channel. */
  found(verdicts: readonly Verdict[]): void;
  /** The gap between thumb and index tip, mm, for counts taken in the pinch, if this were the fit. */
  pinchGapMm(fit: FitResult, counts: Uint16Array): number;
  /** String stops that can be fitted. */
  stops(): readonly StopToFit[];
  resistance(): Resistance;
  arm(by: string): void;
  disarm(by: string): void;
}

/** Parts of the samples, and of the promised rate, beyond which the link is not well. Common practice. */
const LOST_PART = 0.005;
const RATE_PART = 0.8;
/** Silences, part of the time. */
const GAP_S = 0.1;
const GAP_PART = 0.05;
/** A silence longer than this ends a run; a shorter one is reported. */
const SILENT_US = 3e6;
/** A fit of the actuators that nobody arms is forgotten: a later arm is meant for something else. */
const ARM_WITHIN_US = 120e6;
/** A run whose leader has not been heard of for so long ends: nobody sees its prompts any more. */
const LEADER_GONE_US = 1.6e6;
/** Delays beyond the least, ms: from here on motion feels uneven. Common practice. */
const JITTER_MS = 8;

export function createGloveGuide(sources: GuideSources): GloveGuide {
  const { counters, clock } = sources;
  let state: GuideReport['state'] = 'idle';
  let task: GuideTask | undefined;
  let reason: string | undefined;
  let run: GuidedRun | undefined;
  let before = { ...counters };
  let check: CheckReport | undefined;
  let fit: FitReport | undefined;
  let stops: StopsReport | undefined;
  let stopRun: ActuatorFit | undefined;
  /** When the wearer was asked to arm. */
  let askedUs = Number.NaN;
  const beyond = new Float64Array(FINGERS.length);
  let person = '';
  let heardUs = 0;
  let leader: Leader | undefined;
  /** NaN until the next beat: this has no clock of its own. */
  let leaderUs = Number.NaN;

  function finish(finished: GuidedRun): void {
    run = undefined;
    state = 'done';
    if (finished.at < finished.moves.length) {
      state = 'stopped';
      reason = 'It took too long: begin again.';
      return;
    }
    if (task === 'fit') {
      const result = fitChannels(finished.record, sources.channels(), sources.closing());
      const pinch = pinchOf(finished.record);
      fit = {
        ...result,
        person,
        accepted: false,
        ...(pinch ? { pinchGapMm: sources.pinchGapMm(result, pinch) } : {}),
      };
      return;
    }
    const findings = judgeCheck(finished.record, sources.channels());
    const link = judgeLink(finished);
    if (wasFollowed(findings)) sources.found(findings.map(({ verdict }) => verdict));
    const channels = findings.map(({ role, verdict, evidence, used, noiseCounts }) => ({
      role,
      verdict: verdict.kind,
      evidence,
      remedy: verdict.remedy,
      used,
      noiseCounts,
    }));
    check = { ok: link.ok && channels.every(({ verdict }) => verdict === 'healthy'), channels, link };
  }

  /** Nobody is held when the run is over, however it ended. */
  function endStopRun(): void {
    stopRun = undefined;
    const resistance = sources.resistance();
    resistance.endProbing();
    if (resistance.armed) sources.disarm('the fit of the actuators is over');
  }

  /** Curls, below 0 where the sensor of a whole finger reads beyond its open end. */
  function readBeyond(curls: ArrayLike<number>, counts: ArrayLike<number>): void {
    for (let finger = 0; finger < beyond.length; finger++) beyond[finger] = curls[finger];
    for (const { kind, finger, open, closed, source } of sources.channels()) {
      if (kind !== 'curl' || source < 0) continue;
      const part = (counts[source] - open) / (closed - open);
      if (part < 0) beyond[finger] = part;
    }
  }

  function judgeLink({ record }: GuidedRun): LinkReport {
    const { timesS, length } = record;
    const rateHz = length > 1 ? (length - 1) / (timesS[length - 1] - timesS[0]) : 0;
    const promisedHz = sources.promisedHz();
    const lost = counters.lost - before.lost;
    const badCrc = counters.badCrc - before.badCrc;
    const malformed = counters.malformed + counters.oversize - before.malformed - before.oversize;
    let gaps = 0;
    let gapS = 0;
    for (let t = 1; t < length; t++) {
      const gap = timesS[t] - timesS[t - 1];
      if (gap <= GAP_S) continue;
      gaps++;
      gapS += gap;
    }
    const jitterMs = clock.status.jitterUs / 1000;
    const remedies: string[] = [];
    if (badCrc + malformed > LOST_PART * length) {
      remedies.push('Frames arrive damaged: a shorter cable, a common ground, or a lower baud rate.');
    } else if (lost > LOST_PART * length) {
      remedies.push('Samples are missing: the firmware or the radio cannot keep up; lower the sample rate.');
    }
    if (promisedHz > 0 && rateHz + (lost * rateHz) / Math.max(1, length) < RATE_PART * promisedHz) {
      remedies.push('Slower than the glove promised: lower its sample rate, or find what holds it up.');
    }
    if (length > 0 && gapS > GAP_PART * (timesS[length - 1] - timesS[0])) {
      remedies.push('It falls silent now and then: a loose plug, a weak supply, or a radio out of reach.');
    }
    if (jitterMs > JITTER_MS) {
      remedies.push('Samples arrive in bunches: on a USB serial adapter, lower its latency timer.');
    }
    const ok = remedies.length === 0;
    return { ok, rateHz, promisedHz, lost, badCrc, malformed, gaps, jitterMs, remedy: remedies.join(' ') };
  }

  return {
    get running() {
      return run !== undefined || stopRun !== undefined;
    },
    get asksToArm() {
      return stopRun?.phase === 'arm';
    },
    get canFitStops() {
      return sources.stops().length > 0;
    },
    get stops() {
      return stops;
    },
    get fit() {
      return fit;
    },
    refusesArming(who) {
      if (run)
        return refusal(`A ${task} is under way, with forces off: arm when it is over, or end it first.`);
      if (!stopRun || (stopRun.phase === 'arm' && who === 'wearer')) return undefined;
      return refusal('The stops are being fitted, which only the wearer arms, when asked to.');
    },
    heardOf(id) {
      if (leader?.id === id) leaderUs = Number.NaN;
    },
    otherLeader(id) {
      return this.running && leader && leader.id !== id ? leader : undefined;
    },
    start(wanted, who = '', by) {
      leader = by;
      leaderUs = Number.NaN;
      const channels = sources.channels();
      task = wanted;
      reason = undefined;
      check = undefined;
      fit = undefined;
      stops = undefined;
      if (stopRun) endStopRun();
      run = undefined;
      person = who;
      before = { ...counters };
      state = 'running';
      heardUs = Number.POSITIVE_INFINITY;
      if (wanted === 'actuators') {
        stopRun = createActuatorFit(sources.stops());
        askedUs = Number.NaN;
        return;
      }
      run =
        wanted === 'check'
          ? createGuidedRun(channels, checkMoves(channels), (record) => movesToRepeat(record, channels))
          : createGuidedRun(channels, fitMoves(channels));
      if (run.finished) finish(run);
    },
    next() {
      // The deliberate act of the wearer, whom the prompt has told what it does.
      if (stopRun?.phase === 'arm') sources.arm('the wearer, to fit the actuators');
      run?.next();
      // After the last move nothing is left to be asked, whether or not a sample comes.
      if (run?.finished) finish(run);
    },
    stop(why) {
      if (!run && !stopRun) return;
      run = undefined;
      if (stopRun) endStopRun();
      state = 'stopped';
      reason = why;
    },
    sample(counts, timeUs) {
      if (!run) return;
      heardUs = timeUs;
      run.sample(counts, timeUs / 1e6);
      if (run.finished) finish(run);
    },
    feel(nowUs, curls, healthy, counts) {
      if (!stopRun) return;
      heardUs = nowUs;
      const resistance = sources.resistance();
      const { armed } = resistance;
      const first = stopRun.phase === 'arm';
      if (!first && !armed) {
        this.stop(`Disarmed: ${resistance.status.reason}. Begin again.`);
        return;
      }
      if (Number.isNaN(askedUs)) askedUs = nowUs;
      if (first && nowUs - askedUs > ARM_WITHIN_US) {
        this.stop('The glove was not armed within two minutes: begin again.');
        return;
      }
      if (first && armed) resistance.beginProbing();
      readBeyond(curls, counts);
      stopRun.step(nowUs / 1e6, beyond, healthy, armed, resistance.probed);
      const { finger, target, effort, fitted, unfitted } = stopRun;
      resistance.probe(finger, target, effort, nowUs);
      if (stopRun.phase !== 'done') return;
      stops = { person, fitted, unfitted, accepted: false };
      state = 'done';
      endStopRun();
    },
    notice(nowUs) {
      if (!this.running) return;
      if (nowUs - heardUs > SILENT_US) this.stop('The glove fell silent.');
      if (Number.isNaN(leaderUs)) leaderUs = nowUs;
      if (leader && nowUs - leaderUs > LEADER_GONE_US) {
        this.stop(`Nothing was heard of ${leader.name}, which led it.`);
      }
    },
    read() {
      const report: GuideReport = { hand: sources.hand(), glove: sources.name, state };
      if (task) report.task = task;
      if (reason) report.reason = reason;
      if (run) {
        const { name, prompt } = run.moves[run.at];
        const { bar, part } = run;
        report.move = {
          name,
          prompt,
          number: run.at + 1,
          count: run.moves.length,
          part,
          ...(bar === undefined ? {} : { bar }),
        };
      }
      if (stopRun) {
        const { phase, prompt, number, count, part } = stopRun;
        report.move = { name: phase, prompt, number, count, part };
      }
      if (check) report.check = check;
      if (fit) report.fit = fit;
      if (stops) report.stops = stops;
      return report;
    },
  };
}

const refusal = (message: string): Refusal => ({ code: 'notSupported', message });

/** More than half of the channels answered: else nobody made the moves, and nothing is known. */
function wasFollowed(findings: readonly ChannelFinding[]): boolean {
  const silent = findings.filter(({ verdict: { kind } }) => kind === 'dead').length;
  return silent * 2 < findings.length;
}

/** Counts while the pinch was held: medians over its last part. */
function pinchOf(record: MoveRecord): Uint16Array | undefined {
  const move = record.moves.find(({ move: { name }, made }) => name === 'pinch' && made);
  if (!move || move.to - move.from < 4) return undefined;
  const from = move.to - Math.ceil((move.to - move.from) / 5);
  return Uint16Array.from({ length: record.channels }, (_, i) =>
    median(record.column(i).subarray(from, move.to)),
  );
}
