import type { ChannelRole } from '../protocol/link-table.js';
import type { Channel } from '../sensing/channels.js';
import { fault, HEALTHY, inWordsOf, type Verdict } from '../sensing/health/verdicts.js';
import { type Answers, answersOf, NO_RESPONSE, STRETCH_S } from './check-answers.js';
import { couplingOf, crossTalkOf, NOT_HELD, nobodyHeld } from './cross-talk.js';
import { FASTEST_PER_S, JUMP_STEP } from './guided-run.js';
import type { MoveRecord } from './move-record.js';
import { median, noiseOf, quantile, slopeOf, type Trace, traceOf } from './move-statistics.js';
import { isControl } from './moves.js';

/**
 * Judges a recorded run of prompted moves: one verdict a channel. Knowing what the wearer did reveals what signals
 * alone cannot: reversed, swapped, short range, cross-talk, drift against a sloppy hand.
 *
 * Every response is measured from the level around its move, so that a slow drift leaves it alone, and as a
 * part of the converter, so that a glove need not be fitted yet.
 */
export interface ChannelFinding {
  readonly role: ChannelRole;
  readonly verdict: Verdict;
  /** Evidence, also of a healthy verdict; empty for channels that the moves do not reach. */
  readonly evidence: string;
  /** Part of the converter that the moves used, 0..1. */
  readonly used: number;
  /** Standard deviation of the noise, counts. */
  readonly noiseCounts: number;
}

/** A range below this part of the converter wastes precision. Common practice. */
const SHORT = { curl: 0.2, joint: 0.12, splay: 0.06, stick: 0.2, control: 0.1 } as const;
/** Noise, part of the used range, and least counts, from which it shows. As in signal-bounds.ts. */
const NOISY = 0.006;
const NOISY_COUNTS = 1.5;
/** Jumps that indicate a loose wire; one servo spike makes two. */
const JUMPS = 4;
/** Part of the time at an end of the converter. */
const RAILED = 0.8;
const CLIPPED = 0.5;
/**
 * Drift over the run, part of the used range, of all channels alike; a careless wearer returns to within some 5 %. One
 * channel that drifts away from its siblings shows sooner: by what is left over of the poses, the hand is the same.
 */
const DRIFTED = 0.15;
const DRIFTED_ALONE = 0.07;
const SCATTER_ALONE = 1.5;

export function judgeCheck(record: MoveRecord, channels: readonly Channel[]): ChannelFinding[] {
  const trace = traceOf(record, STRETCH_S);
  const answers = answersOf(record, trace, channels);
  const drifts = channels.map(({ lookup }, i) => {
    const used = quantile(trace.levels[i], 0.98) - quantile(trace.levels[i], 0.02);
    return driftOf(answers[i].base, Math.max(used, 0.1 * lookup.maxCounts));
  });
  const findings = channels.map((channel, i) =>
    judge(record, trace, channels, answers, channel, i, ownDriftOf(drifts, channels, i)),
  );
  const unheld = nobodyHeld(channels, answers);
  return findings
    .map((finding, i) => besideSiblings(finding, i, findings, channels))
    .map((finding, i) => (unheld && channels[i].finger >= 0 ? notHeld(finding) : finding));
}

const notHeld = (finding: ChannelFinding): ChannelFinding =>
  finding.verdict.kind === 'healthy' && finding.evidence !== ''
    ? { ...finding, evidence: `${finding.evidence}; ${NOT_HELD}` }
    : finding;

/** Response to its own finger below which a channel that drifts does nothing but creep, part of the converter. */
const CREEPS_ONLY = 3 * NO_RESPONSE;

/** Siblings by which a channel is measured, at least, and times their noise that is worth saying. */
const LEAST_SIBLINGS = 3;
const LOUD = 3;

/** A channel that is still well but far noisier than the others of its kind is the next to fail: that is said. */
function besideSiblings(
  finding: ChannelFinding,
  i: number,
  findings: readonly ChannelFinding[],
  channels: readonly Channel[],
): ChannelFinding {
  const part = (k: number) => findings[k].noiseCounts / channels[k].lookup.maxCounts;
  const others = findings.flatMap(({ verdict }, k) =>
    k !== i && verdict.kind === 'healthy' && channels[k].kind === channels[i].kind ? [part(k)] : [],
  );
  if (others.length < LEAST_SIBLINGS || finding.noiseCounts < NOISY_COUNTS) return finding;
  if (finding.verdict.kind !== 'healthy' && finding.verdict.kind !== 'noisy') return finding;
  const usual = Math.max(median(others), 0.5 / channels[i].lookup.maxCounts);
  const times = part(i) / usual;
  if (times < LOUD) return finding;
  return { ...finding, evidence: `${finding.evidence}, ${times.toFixed(0)} times that of its siblings` };
}

function judge(
  record: MoveRecord,
  trace: Trace,
  channels: readonly Channel[],
  answers: readonly Answers[],
  channel: Channel,
  i: number,
  drift: number,
): ChannelFinding {
  const { role, kind, lookup } = channel;
  const full = lookup.maxCounts;
  const found = (verdict: Verdict, used: number, noiseCounts: number): ChannelFinding => ({
    role,
    verdict: inWordsOf(kind, verdict),
    evidence: verdict.evidence || (used > 0 ? healthyEvidence(kind, used, noiseCounts) : ''),
    used,
    noiseCounts,
  });
  if (channel.source < 0) {
    return found(fault('missing', false, 'is in the profile, but the glove does not send it'), 0, 0);
  }
  // Orientation sensors compute and touch pads switch: neither is a plain analogue channel.
  if (kind === 'wrist' || role === 'thumbRest') return found(HEALTHY, 0, 0);
  const counts = record.column(i);
  const levels = trace.levels[i];
  const { lone, whole } = answers[i];
  const used = (quantile(levels, 0.98) - quantile(levels, 0.02)) / full;
  const noise = noiseOf(counts);
  const span = Math.max(used, 0.1) * full;
  const result = (verdict: Verdict) => found(verdict, used, noise);

  const jumps = countJumps(counts, record.timesS, full, noise);
  if (jumps >= JUMPS) {
    const seconds = record.timesS[record.length - 1] - record.timesS[0];
    return result(
      fault('intermittent', false, `${jumps} jumps in ${seconds.toFixed(0)} s that no finger can make`),
    );
  }
  const rail = Math.max(1, Math.floor(full / 2000));
  const low = partOf(counts, (x) => x <= rail);
  const high = partOf(counts, (x) => x >= full - rail);
  if (Math.max(low, high) >= RAILED) {
    const [end, time] = low > high ? ['0', low] : ['full scale', high];
    return result(fault('railed', false, `at ${end} for ${percent(time)} of the time`));
  }
  const own = kind === 'curl' || kind === 'joint' ? lone[channel.finger] : Number.NaN;
  const strongest = Math.max(0, ...[whole, ...lone].map((x) => Math.abs(x)).filter((x) => x >= 0));
  const asked = !Number.isNaN(whole) || !Number.isNaN(own);
  if (used < 0.002 || (asked && strongest < NO_RESPONSE)) {
    // A still splay, arch or control that nothing asked to move is not dead for it.
    if (asked || noise === 0)
      return result(
        asked
          ? fault('dead', false, `moved by ${percent(strongest, 1)} of the converter when asked to`)
          : HEALTHY,
      );
  }
  if (drift !== 0 && Math.abs(own) < CREEPS_ONLY) {
    // What creeps but does not answer to its finger is no string that stretches.
    const evidence = `moved by ${percent(Math.abs(own), 1)} for its own finger, and creeps by ${percent(Math.abs(drift))}, as an open input without a pull-down does`;
    return result(fault('dead', false, evidence));
  }
  if (drift !== 0) {
    const evidence = `its rest moved by ${percent(Math.abs(drift))} of its range during the check`;
    return result(fault('drifting', true, evidence));
  }
  if (noise > Math.max(NOISY * span, NOISY_COUNTS)) {
    return result(
      fault('noisy', true, `noise of ${noise.toFixed(1)} counts, ${percent(noise / span, 1)} of its range`),
    );
  }
  if (!asked) return result(HEALTHY);
  if (!Number.isNaN(own)) {
    const crossTalk = crossTalkOf(channels, answers, i);
    if (crossTalk) return result(crossTalk);
  }
  const sign = Number.isNaN(whole) ? own : whole;
  if (sign < -NO_RESPONSE && !isControl(channel)) {
    const to = kind === 'splay' ? 'spread' : 'closed';
    return result(
      fault(
        'reversed',
        false,
        `moved by ${percent(-sign)} of the converter away from \`${to === 'spread' ? 'closed' : to}\``,
      ),
    );
  }
  if (!Number.isNaN(own)) {
    const coupled = couplingOf(channels, answers, i);
    if (coupled) return result(coupled);
  }
  const way = Math.max(Math.abs(whole) || 0, Math.abs(own) || 0);
  const shortest = SHORT[kind as keyof typeof SHORT] ?? 0;
  if (way < shortest) {
    return result(fault('shortRange', true, `uses ${percent(way)} of the converter`));
  }
  const clipped = clippingOf(record, i, rail, full);
  if (clipped) return result(clipped);
  return result(HEALTHY);
}

/** Steps that no hand can make, by converter, time between the samples and noise. */
function countJumps(counts: Uint16Array, timesS: Float64Array, full: number, noise: number): number {
  let jumps = 0;
  const step = Math.max(JUMP_STEP * full, 12 * noise);
  for (let t = 1; t < counts.length; t++) {
    const allowed = step + FASTEST_PER_S * full * (timesS[t] - timesS[t - 1]);
    if (Math.abs(counts[t] - counts[t - 1]) > allowed) jumps++;
  }
  return jumps;
}

interface Drift {
  /** Of the level of the open hand over the run, part of the range. */
  readonly total: number;
  /** Of that level from one time to the next, once the drift is taken out. */
  readonly scatter: number;
}

function driftOf(base: Answers['base'], span: number): Drift | undefined {
  if (base.length < 4) return undefined;
  const times = base.map(({ atS }) => atS);
  const levels = base.map(({ level }) => level);
  const slope = slopeOf(times, levels);
  const offsets = levels.map((level, k) => level - slope * times[k]);
  const middle = median(offsets);
  return {
    total: (slope * (times[times.length - 1] - times[0])) / span,
    scatter: median(offsets.map((x) => Math.abs(x - middle))) / span,
  };
}

/** What a channel drifted by; 0 when it is no more than a sloppy hand. */
function ownDriftOf(drifts: readonly (Drift | undefined)[], channels: readonly Channel[], i: number): number {
  const own = drifts[i];
  if (!own) return 0;
  if (Math.abs(own.total) > Math.max(DRIFTED, 4 * own.scatter)) return own.total;
  // Which way is closed, the profile says: only by that a hand that closes a little drifts alike on all channels.
  const towards = (k: number) => (channels[k].closed < channels[k].open ? -1 : 1);
  const siblings = drifts.flatMap((drift, k) =>
    drift && k !== i && channels[k].source >= 0 && channels[k].kind === channels[i].kind
      ? [{ total: towards(k) * drift.total, scatter: drift.scatter }]
      : [],
  );
  if (siblings.length < LEAST_SIBLINGS) return 0;
  const alone = towards(i) * own.total - median(siblings.map(({ total }) => total));
  const scatter = median([own, ...siblings].map((drift) => drift.scatter));
  return Math.abs(alone) > Math.max(DRIFTED_ALONE + SCATTER_ALONE * scatter, 3 * own.scatter) ? alone : 0;
}

/** The finger runs on while the reading stands at the converter's end. */
function clippingOf(record: MoveRecord, i: number, rail: number, full: number): Verdict | undefined {
  for (const { move, from, to } of record.moves) {
    if (move.name !== 'fist' && move.name !== 'open') continue;
    const counts = record.column(i).subarray(from + Math.floor((to - from) / 2), to);
    const ended = Math.max(
      partOf(counts, (x) => x <= rail),
      partOf(counts, (x) => x >= full - rail),
    );
    if (ended > CLIPPED) {
      const pose = move.name === 'fist' ? 'a fist' : 'an open hand';
      return fault('railed', true, `runs into the end of the converter in ${pose}`);
    }
  }
  return undefined;
}

function partOf(counts: Uint16Array, test: (x: number) => boolean): number {
  let hits = 0;
  for (let t = 0; t < counts.length; t++) if (test(counts[t])) hits++;
  return counts.length > 0 ? hits / counts.length : 0;
}

const WAY: Partial<Record<Channel['kind'], string>> = {
  stick: 'goes from edge to edge over',
  control: 'goes over',
};
const healthyEvidence = (kind: Channel['kind'], used: number, noise: number) =>
  `${WAY[kind] ?? 'uses'} ${percent(used)} of the converter, noise ${noise.toFixed(1)} counts`;
const percent = (part: number, digits = 0): string => `${(part * 100).toFixed(digits)} %`;
