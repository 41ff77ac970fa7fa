import type { ClosingProfile } from '../hand/closing.js';
import type { DofArray } from '../hand/dofs.js';
import type { HandSide } from '../hand/joints.js';
import type { Skeleton } from '../hand/skeleton.js';
import type { LinkCounters } from '../link/codec.js';
import type { TimeSync } from '../link/time-sync.js';
import type { Mutable } from '../mutable.js';
import type { Refusal } from '../protocol/refusals.js';
import type { WhoArms } from '../resistance/governor.js';
import type { Resistance } from '../resistance/resistance.js';
import type { Channel } from '../sensing/channels.js';
import type { Verdict } from '../sensing/health/verdicts.js';
import type { StopToFit } from './actuator-fit.js';
import { createButtonWatch } from './button-watch.js';
import { reportCheck } from './check-report.js';
import { type CheckTrace, checkTraceOf } from './check-trace.js';
import { movesToRepeat } from './cross-talk.js';
import { type FitResult, fitChannels } from './fit.js';
import { createGuidedRun, type GuidedRun } from './guided-run.js';
import { createLeadership } from './leader.js';
import { judgeLink } from './link-report.js';
import { createMountRun, type MountRun } from './mount-run.js';
import { checkMoves, fitMoves } from './moves.js';
import { whyNothingMoved } from './nothing-moved.js';
import { pinchOf } from './pinch-gap.js';
import type {
  CheckReport,
  FitReport,
  GuideReport,
  GuideTask,
  Leader,
  MountReport,
  StopsReport,
} from './report.js';
import { findSensorOffsets } from './sensor-offset.js';
import { createStopsRun, type StopsRun } from './stops-run.js';

/** Leads the wearer of one glove through a check or a fit; what apps, page and command line see is plain data. */
export interface GloveGuide {
  /**
   * Starts over; a run under way is given up.
   * @param person who is fitted
   * @param leader who leads: the run ends when nothing has been heard of it for long; none: it goes on
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
  sample(counts: ArrayLike<number>, timeUs: number, buttons: number): void;
  /** What the fit of the actuators feels: at every sample, before the resistance takes its step. */
  feel(nowUs: number, curls: ArrayLike<number>, healthy: ArrayLike<number>, counts: ArrayLike<number>): void;
  /** What the fit of a mount sees: at every sample. @param tracker undefined: no tracker says where the hand is */
  placed(timeUs: number, dofs: DofArray, tracker: Float64Array | undefined, number: number): void;
  /** Called now and then: gives up when the glove has been silent for long. */
  notice(nowUs: number): void;
  running(): boolean;
  /** What the wearer is asked now is to arm: `next` does it. */
  asksToArm(): boolean;
  /** The glove has string stops whose places can be found by use. */
  canFitStops(): boolean;
  /** The fit that the last run found, until another one begins. */
  readonly fit: FitReport | undefined;
  /** The mount that the last run found, until another one begins. */
  readonly mount: MountReport | undefined;
  /** The fit of the string stops that the last run found, until another one begins. */
  readonly stops: StopsReport | undefined;
  read(): GuideReport;
  /** What the last check recorded, for plots; nothing before it is done. */
  readonly trace: CheckTrace | undefined;
}

export interface GuideSources {
  name: string;
  hand(): HandSide;
  channels(): readonly Channel[];
  /** Bit of each button that the profile names, and how long a bounce is passed over, ms. */
  buttons: Readonly<Record<string, number>>;
  debounceMs: number;
  promisedHz(): number;
  counters: LinkCounters;
  timeSync: TimeSync;
  closing(): ClosingProfile;
  /** What the running service says of each channel now. */
  live(): readonly Verdict[];
  /** What a check found, one verdict a channel. */
  found(verdicts: readonly Verdict[]): void;
  /** The gap between thumb and index tip, mm, for counts taken in the pinch, if this were the fit. */
  pinchGapMm(fit: FitResult, counts: Uint16Array): number;
  /** String stops that can be fitted. */
  stops(): readonly StopToFit[];
  skeleton(): Skeleton;
  /** Fingers that are sensed now, as indices into FINGERS. */
  sensed(): readonly number[];
  resistance(): Resistance;
  arm(by: string): void;
  disarm(by: string): void;
}

/** A silence longer than this ends a run; a shorter one is reported. */
const SILENT_US = 3e6;

export function createGloveGuide(sources: GuideSources): GloveGuide {
  const { counters, timeSync } = sources;
  const leadership = createLeadership();
  let state: GuideReport['state'] = 'idle';
  let task: GuideTask | undefined;
  let reason: string | undefined;
  let run: GuidedRun | undefined;
  let stopsRun: StopsRun | undefined;
  let buttonWatch = createButtonWatch({}, 0);
  let before = { ...counters };
  let check: CheckReport | undefined;
  let mountRun: MountRun | undefined;
  let person = '';
  let heardUs = 0;

  function begin(wanted: GuideTask): void {
    const channels = sources.channels();
    if (wanted === 'mount') mountRun = createMountRun(sources.skeleton(), sources.sensed());
    else if (wanted === 'actuators') {
      const { resistance, disarm } = sources;
      stopsRun = createStopsRun({ stops: sources.stops(), channels: sources.channels, resistance, disarm });
    } else if (wanted === 'check') {
      const moves = checkMoves(channels, Object.keys(sources.buttons).length);
      run = createGuidedRun(channels, moves, (record) => movesToRepeat(record, channels));
      buttonWatch = createButtonWatch(sources.buttons, sources.debounceMs);
    } else run = createGuidedRun(channels, fitMoves(channels));
    if (run?.finished) finish(run);
  }

  function finish({ at, moves, record, abandoned }: GuidedRun): void {
    run = undefined;
    state = 'done';
    if (abandoned) {
      state = 'stopped';
      reason = whyNothingMoved(record, sources.channels());
    } else if (at < moves.length) {
      state = 'stopped';
      reason = 'It took too long: begin again.';
    } else if (task === 'fit') {
      const result = fitChannels(record, sources.channels(), sources.closing());
      const pinch = pinchOf(record);
      const gap = pinch ? { pinchGapMm: sources.pinchGapMm(result, pinch) } : {};
      guide.fit = { ...result, person, accepted: false, ...gap };
    } else {
      const jitterMs = timeSync.status.jitterUs / 1000;
      const link = judgeLink(record, counters, before, sources.promisedHz(), jitterMs);
      const { report, verdicts } = reportCheck(
        record,
        sources.channels(),
        link,
        buttonWatch.findings(),
        sources.live(),
      );
      if (verdicts) sources.found(verdicts);
      check = report;
      guide.trace = checkTraceOf(record, sources.channels());
    }
  }

  function endStopsRun(): void {
    stopsRun?.end();
    stopsRun = undefined;
  }

  const isRunning = (): boolean => run !== undefined || stopsRun !== undefined || mountRun !== undefined;

  function stop(why: string): void {
    if (!isRunning()) return;
    run = undefined;
    mountRun = undefined;
    endStopsRun();
    state = 'stopped';
    reason = why;
  }

  const guide: Mutable<GloveGuide> = {
    running: isRunning,
    asksToArm: () => stopsRun?.asksToArm === true,
    canFitStops: () => sources.stops().length > 0,
    stops: undefined,
    mount: undefined,
    fit: undefined,
    trace: undefined,
    stop,
    refusesArming(who) {
      if (run || mountRun)
        return refusal(`A ${task} is under way, with forces off: arm when it is over, or end it first.`);
      if (!stopsRun || (stopsRun.asksToArm && who === 'wearer')) return undefined;
      return refusal('The stops are being fitted, which only the wearer arms, when asked to.');
    },
    heardOf: leadership.heardOf,
    otherLeader(id) {
      const { leader } = leadership;
      return isRunning() && leader && leader.id !== id ? leader : undefined;
    },
    start(wanted, who = '', leader) {
      leadership.begin(leader);
      endStopsRun();
      run = undefined;
      task = wanted;
      reason = undefined;
      check = undefined;
      guide.trace = undefined;
      guide.fit = undefined;
      guide.stops = undefined;
      mountRun = undefined;
      guide.mount = undefined;
      person = who;
      before = { ...counters };
      state = 'running';
      heardUs = Number.POSITIVE_INFINITY;
      begin(wanted);
    },
    next() {
      // The deliberate act of the wearer, who has read in the prompt what it does.
      if (stopsRun?.asksToArm) sources.arm('the wearer, to fit the actuators');
      run?.next();
      mountRun?.next();
      // After the last move nothing is left to be asked, whether or not a sample comes.
      if (run?.finished) finish(run);
    },
    sample(counts, timeUs, buttons) {
      if (!run) return;
      heardUs = timeUs;
      buttonWatch.sample(buttons, timeUs / 1e6);
      run.sample(counts, timeUs / 1e6, buttons);
      if (run.finished) finish(run);
    },
    feel(nowUs, curls, healthy, counts) {
      if (!stopsRun) return;
      heardUs = nowUs;
      const outcome = stopsRun.feel(nowUs, curls, healthy, counts);
      if (!outcome) return;
      if ('stopped' in outcome) {
        stop(outcome.stopped);
        return;
      }
      guide.stops = { person, ...outcome, accepted: false };
      state = 'done';
      endStopsRun();
    },
    placed(timeUs, dofs, tracker, number) {
      if (!mountRun) return;
      heardUs = timeUs;
      const outcome = mountRun.sample(timeUs, dofs, tracker, number);
      if (!outcome) return;
      if ('stopped' in outcome) {
        stop(outcome.stopped);
        return;
      }
      guide.mount = { person, ...outcome, accepted: false };
      if ('fitted' in outcome) {
        const { jointCovariance: _, ...fitted } = outcome.fitted;
        const sensors = findSensorOffsets(
          outcome.fitted,
          mountRun.touched,
          sources.channels(),
          sources.closing(),
        );
        guide.mount = { person, fitted, accepted: false, ...(sensors.length > 0 ? { sensors } : {}) };
      }
      state = 'done';
      mountRun = undefined;
    },
    notice(nowUs) {
      if (!isRunning()) return;
      if (nowUs - heardUs > SILENT_US) stop('The glove fell silent.');
      else if (leadership.gone(nowUs)) stop(`Nothing was heard of ${leadership.leader?.name}, which led it.`);
    },
    read() {
      const report: GuideReport = { hand: sources.hand(), glove: sources.name, state };
      if (task) report.task = task;
      if (reason) report.reason = reason;
      if (run) report.move = moveOf(run);
      if (stopsRun) report.move = stopsRun.move;
      if (mountRun) report.move = mountRun.move;
      if (check) report.check = check;
      const { fit, stops, mount } = guide;
      if (fit) report.fit = fit;
      if (stops) report.stops = stops;
      if (mount) report.mount = mount;
      return report;
    },
  };
  return guide;
}

const refusal = (message: string): Refusal => ({ code: 'notSupported', message });

function moveOf({ moves, at, bar, part }: GuidedRun): NonNullable<GuideReport['move']> {
  const { name, prompt } = moves[at];
  return { name, prompt, number: at + 1, count: moves.length, part, ...(bar === undefined ? {} : { bar }) };
}
