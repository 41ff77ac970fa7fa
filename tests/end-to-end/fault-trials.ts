import type { LiveGlove } from '../../src/glove/glove.js';
import { checkMoves, loneWithOthersHeld } from '../../src/guide/moves.js';
import { FINGERS } from '../../src/hand/joints.js';
import { TRACKED } from '../../src/hand/validity.js';
import type { Channel } from '../../src/sensing/channels.js';
import type { FaultKind, VerdictKind } from '../../src/sensing/health/verdicts.js';
import { createWearer } from '../guide/wearer.js';
import { startTurnedChain, type TurnedChain, turnedProfile } from './turned-chain.js';

/*
 * Faults of every kind on every channel, put into the firmware on this computer. Its bytes go through the service's
 * whole chain; told is what the guided check, and the service while it runs, make of them.
 */

/** Whose plug is exchanged with this one, or who couples in. */
export const partnerOf = (finger: number): number => (finger + 2) % FINGERS.length;
const channel = (finger: number) => `${FINGERS[finger]}.curl`;

/** Commands to the firmware that make each fault. */
export const FAULTS: Record<FaultKind, (finger: number, seed: number) => string> = {
  dead: (f) => `fault dead ${channel(f)}`,
  railed: (f, seed) => `fault railed ${seed % 2} ${channel(f)}`,
  intermittent: (f) => `fault intermittent ${channel(f)}`,
  noisy: (f) => `fault noisy ${channel(f)}`,
  missing: (f) => `fault missing ${channel(f)}`,
  reversed: (f) => `fault reversed ${channel(f)}`,
  swapped: (f) => `swap ${channel(f)} ${channel(partnerOf(f))}`,
  shortRange: (f) => `fault short ${channel(f)}`,
  drifting: (f) => `fault drifting ${channel(f)}`,
  crossTalk: (f) => `cross-talk ${channel(f)} ${channel(partnerOf(f))} 0.5`,
};
export const FAULT_KINDS = Object.keys(FAULTS) as FaultKind[];

const CURLS = FINGERS.map((_, finger) => ({ kind: 'curl', finger, part: 0 })) as unknown as Channel[];
const CHECK_STEP_MS = 50;

/** What a check found, and what the service says of the channels right after it. */
export interface Checked {
  verdicts: VerdictKind[];
  /** Of the service's health, when the check ends. */
  service: VerdictKind[];
  /** From the last sample of the check to the health event with these, ms of the glove's clock. */
  afterMs: number;
  /** Fingers that the service then takes for tracked. */
  tracked: boolean[];
  seconds: number;
}

const startCheckedGlove = (seed: number): Promise<TurnedChain> =>
  startTurnedChain({
    profile: turnedProfile('right'),
    gloveArgs: ['--rate', '100', '--seed', String(seed)],
    stepMs: CHECK_STEP_MS,
  });

/** A simulated wearer of a glove with these faults is led through the check. */
export async function guidedCheck(seed: number, faults: readonly string[] = []): Promise<Checked> {
  const chain = await startCheckedGlove(seed);
  try {
    await chain.step(faults);
    return await leadCheck(chain, seed);
  } finally {
    await chain.end();
  }
}

/**
 * A second of motion, in one round trip to the firmware: on a busy machine each takes its time.
 * @param curls of the fingers at a time of the bench's clock, s
 */
async function moveHand(chain: TurnedChain, curls: (nowS: number) => Iterable<number>): Promise<void> {
  const fromMs = chain.clock.nowUs() / 1000;
  const steps = Array.from({ length: 1000 / CHECK_STEP_MS }, (_, k) => {
    const pose = Array.from(curls((fromMs + (k + 1) * CHECK_STEP_MS) / 1000), (curl) => curl.toFixed(4));
    return [`pose ${CHECK_STEP_MS} ${pose.join(' ')}`];
  });
  await chain.steps(CHECK_STEP_MS, steps);
}

const verdictsOf = (glove: LiveGlove): VerdictKind[] =>
  glove.readHealth().channels.map(({ verdict }) => verdict as VerdictKind);

async function leadCheck(chain: TurnedChain, seed: number): Promise<Checked> {
  const { glove, clock } = chain;
  const { guide } = glove;
  const wearer = createWearer({ seed });
  const moves = checkMoves(CURLS);
  let checkedUs = 0;
  let told = verdictsOf(glove).join();
  let toldUs = Number.NEGATIVE_INFINITY;
  const stopListening = glove.listen({
    frame(frame) {
      if (guide.running() || checkedUs === 0) checkedUs = frame.timeUs;
    },
    health() {
      const now = verdictsOf(glove).join();
      if (now !== told) toldUs = glove.frame.timeUs;
      told = now;
    },
  });
  const startUs = clock.nowUs();
  guide.start('check');
  while (guide.running()) {
    const { move } = guide.read();
    // Beyond the usual moves, some fingers are asked for again.
    if (move) moves[move.number - 1] ??= loneWithOthersHeld(FINGERS.indexOf(move.name as 'index'));
    const asked = move && moves[move.number - 1];
    await moveHand(chain, (nowS) => wearer.at(asked, nowS).curls);
  }
  const { check, reason } = guide.read();
  if (!check) throw new Error(`no findings: ${reason}`);
  await chain.wait(200);
  stopListening();
  return {
    verdicts: check.channels.map(({ verdict }) => verdict as VerdictKind),
    service: verdictsOf(glove),
    afterMs: Math.max(0, (toldUs - checkedUs) / 1000),
    tracked: Array.from(glove.frame.fingerStates, (state) => state === TRACKED),
    seconds: (clock.nowUs() - startUs) / 1e6,
  };
}

export interface Confusion {
  /** By kind injected: how often each verdict was given to the faulty channel. */
  table: Map<FaultKind, Map<VerdictKind, number>>;
  right: number;
  all: number;
  /** Verdicts other than healthy on channels without a fault. */
  falseAlarms: string[];
  /** Ends of checks after which the service did not name what the check had found within 200 ms. */
  unheard: string[];
}

/** Every fault kind on every channel, once a seed. */
export async function confusion(seeds: readonly number[]): Promise<Confusion> {
  const result: Confusion = { table: new Map(), right: 0, all: 0, falseAlarms: [], unheard: [] };
  for (const kind of FAULT_KINDS) result.table.set(kind, new Map());
  for (const seed of seeds) {
    // A glove for each channel, on which one fault after the other is made, looked for, and mended.
    await Promise.all(
      FINGERS.map(async (_, finger) => {
        const chain = await startCheckedGlove(100 * seed + finger);
        try {
          for (const [k, kind] of FAULT_KINDS.entries()) {
            const fault = FAULTS[kind](finger, seed);
            await chain.step([fault]);
            tell(result, kind, finger, fault, await leadCheck(chain, 1000 * seed + 100 * k + finger));
            await chain.step([mendingOf(fault)]);
            await chain.wait(200);
          }
        } finally {
          await chain.end();
        }
      }),
    );
  }
  return result;
}

function mendingOf(fault: string): string {
  if (fault.startsWith('swap')) return fault;
  const words = fault.split(' ');
  return words[0] === 'fault' ? `fault none ${words[words.length - 1]}` : fault.replace(/[^ ]+$/, '0');
}

function tell(result: Confusion, kind: FaultKind, finger: number, fault: string, checked: Checked): void {
  const { verdicts, service, afterMs } = checked;
  const named = verdicts[finger];
  const row = result.table.get(kind)!;
  row.set(named, (row.get(named) ?? 0) + 1);
  result.all++;
  if (named === kind) result.right++;
  const faulty = kind === 'swapped' ? [finger, partnerOf(finger)] : [finger];
  for (const [f, verdict] of verdicts.entries()) {
    if (!faulty.includes(f) && verdict !== 'healthy') {
      result.falseAlarms.push(`${fault}: ${channel(f)} ${verdict}`);
    }
  }
  // A service names these whether or not there is a check.
  if (kind === 'intermittent' || kind === 'noisy' || kind === 'railed' || kind === 'missing') return;
  // A signal that has drifted into the rail meanwhile is named for that.
  if (service[finger] === 'railed' && named === 'drifting') return;
  if (service[finger] !== named || afterMs > 200)
    result.unheard.push(`${fault}: ${service[finger]} after ${afterMs} ms`);
}

/** The table for people: a row a kind that was injected, a column a verdict. */
export function confusionLines({ table, right, all, falseAlarms }: Confusion): string[] {
  const columns: VerdictKind[] = ['healthy', ...FAULT_KINDS];
  const cell = (text: string | number) => String(text).slice(0, 5).padStart(6);
  const lines = [`injected${' '.repeat(6)}${columns.map(cell).join('')}`];
  for (const [kind, row] of table) {
    lines.push(kind.padEnd(14) + columns.map((name) => cell(row.get(name) ?? '.')).join(''));
  }
  lines.push(`${right} of ${all} right, ${falseAlarms.length} false alarms on other channels`);
  return lines;
}

/** What became of a fault in a running glove, its fingers held by an app. Times are of the glove's own clock. */
export interface LiveOutcome {
  /** Names that the service gave the channel, in order, and when: ms from the first faulty sample to the health event. */
  named: { kind: VerdictKind; ms: number }[];
  /** From the first faulty sample until its finger is no longer shown as tracked. */
  inferredMs: number;
  /** From the first faulty sample until the firmware has freed the finger. */
  freedMs: number;
  /** Another channel was named, or its finger let go. */
  others: boolean;
}

const LIVE_STEP_MS = 4;
const HOLD_STEP_MS = 20;
const WARM_UP_S = 8;
const never = Number.POSITIVE_INFINITY;

/** Wears the glove; an app stops every finger halfway; then a channel breaks. @param fault command to the firmware */
export async function liveFault(
  fault: string,
  finger: number,
  seed: number,
  watchMs = 1000,
): Promise<LiveOutcome> {
  const chain = await startTurnedChain({
    profile: turnedProfile('right'),
    gloveArgs: ['--rate', '250', '--seed', String(seed)],
    stepMs: LIVE_STEP_MS,
  });
  const { glove, device, clock } = chain;
  const verdicts = () =>
    new Map(glove.readHealth().channels.map(({ role, verdict }) => [role as string, verdict as VerdictKind]));
  const hold = () => {
    const fingers = Object.fromEntries(FINGERS.map((name) => [name, { stopAt: 0.5, effort: 0.5 }]));
    glove.resist('app', { type: 'resist', hand: 'right', fingers, ttlMs: 250 });
  };
  const holdFor = async (ms: number) => {
    for (let left = ms; left > 0; left -= 4 * HOLD_STEP_MS) {
      hold();
      await chain.steps(HOLD_STEP_MS, [[], [], [], []]);
    }
  };
  try {
    const wish = (t: number, f: number) => 0.45 - 0.45 * Math.cos((2 * Math.PI * t) / (1.6 + 0.1 * f));
    const startUs = clock.nowUs();
    while (clock.nowUs() - startUs < WARM_UP_S * 1e6) {
      await moveHand(chain, (nowS) => FINGERS.map((_, f) => wish(nowS - startUs / 1e6, f)));
    }
    glove.arm('wearer', 'wearer');
    await chain.step(['pose 300 0 0 0 0 0']);
    await holdFor(400);
    await chain.step(['pose 300 0.8 0.8 0.8 0.8 0.8']);
    await holdFor(500);

    const outcome: LiveOutcome = { named: [], inferredMs: never, freedMs: never, others: false };
    let firstUs = Number.NaN;
    const sinceMs = () => (glove.frame.timeUs - firstUs) / 1000;
    glove.listen({
      frame({ valid, timeUs, fingerStates }) {
        if (Number.isNaN(firstUs) && valid) firstUs = timeUs;
        if (fingerStates[finger] !== TRACKED) outcome.inferredMs = Math.min(outcome.inferredMs, sinceMs());
      },
      health() {
        const kind = verdicts().get(channel(finger)) ?? 'missing';
        if (kind === (outcome.named.at(-1)?.kind ?? 'healthy')) return;
        outcome.named.push({ kind, ms: Number.isNaN(firstUs) ? 0 : sinceMs() });
      },
    });
    // A glove that says hello as another one is let go as a whole, and its rigid strings let the fingers jump.
    const alone = !fault.includes('missing');
    await chain.step([fault]);
    for (let ms = 0; ms < watchMs; ms += HOLD_STEP_MS) {
      hold();
      const steps = Array.from({ length: HOLD_STEP_MS / LIVE_STEP_MS }, () => []);
      const passed = chain.steps(LIVE_STEP_MS, steps);
      const servos = await device.ask<{ free: boolean }[]>('servos');
      await passed;
      if (servos[finger].free) outcome.freedMs = Math.min(outcome.freedMs, sinceMs());
      if (alone && servos.some(({ free }, f) => free && f !== finger)) outcome.others = true;
    }
    for (const [role, verdict] of verdicts()) {
      if (alone && role !== channel(finger) && verdict !== 'healthy') outcome.others = true;
    }
    return outcome;
  } finally {
    await chain.end();
  }
}

/** Faults that a signal shows by itself, as a running service has to name them. */
export const LIVE_FAULTS = {
  dead: FAULTS.dead,
  'railed low': (f: number) => `fault railed 0 ${channel(f)}`,
  'railed high': (f: number) => `fault railed 1 ${channel(f)}`,
  'intermittent, 40 breaks a second': (f: number) => `fault intermittent 40 ${channel(f)}`,
  'intermittent, 4 breaks a second': (f: number) => `fault intermittent 4 ${channel(f)}`,
  'noisy, 2 % of the range': (f: number) => `fault noisy 40 ${channel(f)}`,
  'noisy, 1 % of the range': (f: number) => `fault noisy 20 ${channel(f)}`,
  missing: FAULTS.missing,
} as const;

/** A glove that is well, on a lively hand, for so long; every channel that is named, with the time, s. */
export async function healthyHand(seed: number, minutes: number): Promise<string[]> {
  const chain = await startTurnedChain({
    profile: turnedProfile('right'),
    gloveArgs: ['--rate', '250', '--seed', String(seed), '--noise', String(0.5 * (seed % 5))],
    stepMs: CHECK_STEP_MS,
  });
  const { glove, clock } = chain;
  const alarms: string[] = [];
  const startUs = clock.nowUs();
  const seconds = () => (clock.nowUs() - startUs) / 1e6;
  glove.listen({
    health() {
      for (const { role, verdict, evidence } of glove.readHealth().channels) {
        if (verdict !== 'healthy')
          alarms.push(`seed ${seed}, ${seconds().toFixed(1)} s: ${role} ${verdict}, ${evidence}`);
      }
    },
    frame({ fingerStates }) {
      if (fingerStates.some((state) => state !== TRACKED))
        alarms.push(`seed ${seed}, ${seconds().toFixed(1)} s: inferred`);
    },
  });
  try {
    const wearer = createWearer({ seed, sloppiness: 0.1 });
    const moves = checkMoves(CURLS).filter(({ kind }) => kind !== 'sweep');
    while (seconds() < minutes * 60) {
      // Now fists and single fingers one after the other, now a hand that rests for half a minute.
      const resting = seconds() % 120 > 90;
      const move = moves[resting ? 0 : Math.floor(seconds() / 1.8) % moves.length];
      await moveHand(chain, (nowS) => wearer.at(move, nowS).curls);
    }
  } finally {
    await chain.end();
  }
  return [...new Set(alarms)];
}
