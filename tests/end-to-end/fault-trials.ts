import { FINGERS } from '../../src/hand/joints.js';
import { TRACKED } from '../../src/hand/validity.js';
import { checkMoves, type Move } from '../../src/sensing/moves.js';
import type { FaultKind, VerdictKind } from '../../src/sensing/verdicts.js';
import { createWearer } from '../sensing/wearer.js';
import { startTurnedChain, type TurnedChain, turnedProfile } from './turned-chain.js';

/*
 * Faults of every kind on every channel, put into the firmware on this computer; its bytes go through the service's
 * whole chain, and what the guided check, and the service while it runs, make of them is told.
 */

/** The channel whose plug is exchanged with this one, and the one that couples in: not a neighbour. */
const other = (finger: number) => FINGERS[(finger + 2) % FINGERS.length];

/** Commands to the firmware that make each fault, and what the seed varies. */
export const FAULTS: Record<FaultKind, (finger: number, seed: number) => string> = {
  dead: (f) => `fault dead ${FINGERS[f]}.curl`,
  railed: (f, seed) => `fault railed ${seed % 2} ${FINGERS[f]}.curl`,
  intermittent: (f) => `fault intermittent ${FINGERS[f]}.curl`,
  noisy: (f) => `fault noisy ${FINGERS[f]}.curl`,
  reversed: (f) => `fault reversed ${FINGERS[f]}.curl`,
  swapped: (f) => `swap ${FINGERS[f]}.curl ${other(f)}.curl`,
  shortRange: (f) => `fault short ${FINGERS[f]}.curl`,
  drifting: (f) => `fault drifting ${FINGERS[f]}.curl`,
  crossTalk: (f) => `cross-talk ${FINGERS[f]}.curl ${other(f)}.curl 0.5`,
  missing: (f) => `fault missing ${FINGERS[f]}.curl`,
};
export const FAULT_KINDS = Object.keys(FAULTS) as FaultKind[];

const CHECK_STEP_MS = 40;
const CHECK_RATE_HZ = 100;

/** Leads a simulated wearer of the host glove through the check; the verdicts, a channel each. */
export async function guidedCheck(seed: number, faults: readonly string[] = []): Promise<VerdictKind[]> {
  const chain = await startTurnedChain({
    profile: turnedProfile('right'),
    gloveArgs: ['--rate', String(CHECK_RATE_HZ), '--seed', String(seed)],
    stepMs: CHECK_STEP_MS,
  });
  try {
    for (const fault of faults) await chain.step([fault]);
    while (!chain.glove.frame.valid) await chain.step();
    return await leadCheck(chain, seed);
  } finally {
    await chain.end();
  }
}

/** The same for a glove that is there already. */
export async function leadCheck(chain: TurnedChain, seed: number): Promise<VerdictKind[]> {
  const { guide } = chain.glove;
  const wearer = createWearer({ seed });
  guide.start('check');
  while (guide.running) {
    const curls = wearer.at(moveOf(chain), chain.clock.nowUs() / 1e6).curls;
    const pose = Array.from(curls, (curl) => curl.toFixed(4)).join(' ');
    await chain.step([`pose ${CHECK_STEP_MS} ${pose}`]);
  }
  const { check, reason } = guide.read();
  if (!check) throw new Error(`no findings: ${reason}`);
  return check.channels.map(({ verdict }) => verdict as VerdictKind);
}

function moveOf({ glove }: TurnedChain): Move | undefined {
  const { move } = glove.guide.read();
  return move && currentMove(glove.guide.read().move?.number ?? 0);
}

/** The moves of a glove with five curls. */
const MOVES = checkMoves(
  FINGERS.map((_, finger) => ({ kind: 'curl', finger, part: 0 })) as unknown as Parameters<typeof checkMoves>[0],
);
const currentMove = (number: number): Move | undefined => MOVES[number - 1];

/** What became of a fault in a running glove, its fingers held by an app. Times are of the glove's own clock. */
export interface LiveOutcome {
  /** Names that the service gave the channel, in order, with the time from the first faulty sample to its health event. */
  named: { kind: VerdictKind; ms: number }[];
  /** From the first faulty sample until its finger is no longer shown as tracked. */
  inferredMs: number;
  /** From the first faulty sample until the firmware has freed the finger. */
  freedMs: number;
  /** Another finger was let go as well, or named. */
  others: boolean;
}

const LIVE_STEP_MS = 4;
const WARM_UP_S = 8;

/** Wears the glove, has an app hold every finger against its closing, then breaks one channel and watches. */
export async function liveFault(
  kind: FaultKind,
  finger: number,
  seed: number,
  watchMs = 1000,
  held = true,
): Promise<LiveOutcome> {
  const chain = await startTurnedChain({
    profile: turnedProfile('right'),
    gloveArgs: ['--rate', '250', '--seed', String(seed)],
    stepMs: LIVE_STEP_MS,
  });
  const { glove } = chain;
  const role = `${FINGERS[finger]}.curl`;
  const verdictOf = (name: string): VerdictKind =>
    (glove.readHealth().channels.find((channel) => channel.role === name)?.verdict ?? 'missing') as VerdictKind;
  try {
    const wish = (t: number, f: number) => 0.5 - 0.4 * Math.cos((2 * Math.PI * t) / (1.6 + 0.1 * f) + 0.3 * seed);
    for (let t = 0; t < WARM_UP_S; t += LIVE_STEP_MS / 1000) {
      const pose = FINGERS.map((_, f) => wish(t, f).toFixed(4)).join(' ');
      await chain.step([`pose ${LIVE_STEP_MS} ${pose}`]);
    }
    if (held) glove.arm('wearer');
    const hold = () => {
      if (!held) return;
      const fingers = Object.fromEntries(FINGERS.map((name) => [name, { stopAt: 0.5, effort: 0.5 }]));
      glove.resist('app', { type: 'resist', hand: 'right', fingers, ttlMs: 250 });
    };
    hold();
    await chain.step(['pose 300 0 0 0 0 0']);
    for (let ms = 0; ms < 400; ms += LIVE_STEP_MS) {
      hold();
      await chain.step();
    }
    await chain.step(['pose 300 0.8 0.8 0.8 0.8 0.8']);
    for (let ms = 0; ms < 500; ms += LIVE_STEP_MS) {
      hold();
      await chain.step();
    }

    const outcome: LiveOutcome = { named: [], inferredMs: Number.POSITIVE_INFINITY, freedMs: Number.POSITIVE_INFINITY, others: false };
    let firstUs = Number.NaN;
    const since = () => (glove.frame.timeUs - firstUs) / 1000;
    const stopListening = glove.listen({
      frame(frame) {
        if (Number.isNaN(firstUs) && frame.valid) firstUs = frame.timeUs;
        if (frame.fingerStates[finger] !== TRACKED) outcome.inferredMs = Math.min(outcome.inferredMs, since());
      },
      health() {
        const now = verdictOf(role);
        const last = outcome.named.at(-1)?.kind ?? 'healthy';
        if (now !== last) outcome.named.push({ kind: now, ms: Number.isNaN(firstUs) ? 0 : since() });
      },
    });
    await chain.step([FAULTS[kind](finger, seed)]);
    for (let ms = 0; ms < watchMs; ms += LIVE_STEP_MS) {
      hold();
      await chain.step();
      const servos = await chain.device.ask<{ free: boolean }[]>('servos');
      if (servos[finger].free) outcome.freedMs = Math.min(outcome.freedMs, since());
      if (held && kind !== 'missing' && servos.some(({ free }, f) => free && f !== finger)) outcome.others = true;
    }
    stopListening();
    if (FINGERS.some((name, f) => f !== finger && verdictOf(`${name}.curl`) !== 'healthy')) outcome.others = true;
    return outcome;
  } finally {
    await chain.end();
  }
}
