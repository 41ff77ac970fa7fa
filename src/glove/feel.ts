import type { ActuatorProfile, SafetyProfile } from '../config/schema.js';
import { createFeelTrial, type FeelTrial, type Place, type Revealed } from '../guide/feel-trial.js';
import { createLeadership } from '../guide/leader.js';
import type { Leader } from '../guide/report.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import { TRACKED } from '../hand/validity.js';
import type { GloveCodec } from '../link/codec.js';
import type { Mutable } from '../mutable.js';
import type { Refusal } from '../protocol/refusals.js';
import { actuatorFinger, forcesOf } from '../resistance/actuators.js';
import { type Felt, roughen, softDepth, soften } from '../resistance/feel.js';
import { FINGER_COUNT } from '../resistance/requests.js';
import type { Resistance } from '../resistance/resistance.js';
import { canTell, startingValues, TIP_WAY_M, type WireAbilities } from '../resistance/starting-values.js';
import { STRING_TRAVEL_M } from '../resistance/touch-requests.js';
import { FEEL_TRIAL, type Feel, type WearerFeel } from '../resistance/wearer-feel.js';
import type { GloveArming } from './arming.js';
import type { ChainInUse } from './chain-in-use.js';
import type { GloveAnswer } from './feel-report.js';
import type { GloveForces } from './forces.js';
import type { HandFrame } from './view.js';

/**
 * Lets the wearer feel two settings in turn, on one finger. What it asks for goes the way of an app's requests: armed by the
 * wearer alone, and judged by the governor. Nobody else is heard meanwhile, so that what is felt is what is tried.
 *
 *   effort, stiffness, texture   a wall half-way, closed against
 *   knock                        a pulse whenever the finger closes past a mark
 *   slack                        the free string, felt in a fist
 */
export interface GloveFeel {
  /** Of the glove, those that the profile knows. */
  actuators(): readonly ActuatorProfile[];
  readonly safety: SafetyProfile;
  /** What its codec is capable of. */
  readonly wire: WireAbilities;
  running(): boolean;
  /** Why nobody may arm now, but the wearer. */
  refusesArming(who: 'wearer' | 'app'): Refusal | undefined;
  /** Why this cannot be tried. */
  trouble(what: Feel, finger: Finger, a: number, b: number): string | undefined;
  start(
    wanted: { what: Feel; finger: Finger; a: number; b: number; rounds: number; person: string },
    leader: Leader,
  ): void;
  heardOf(leaderId: string): void;
  otherLeader(leaderId: string): Leader | undefined;
  show(which: Place): void;
  /** @returns why it does not count */
  choose(which: Place | 'same'): string | undefined;
  stop(reason: string): void;
  /** With every sample, before the governor takes its step. */
  sample(nowUs: number): void;
  /** Called now and then. */
  notice(nowUs: number): void;
  read(): GloveAnswer;
  /** What was found, until another trial begins. */
  readonly found: { person: string; what: Feel; revealed: Revealed; accepted: boolean } | undefined;
}

export interface FeelSources {
  chain: ChainInUse;
  codec: GloveCodec;
  forces: Pick<GloveForces, 'armed' | 'pulse'>;
  arming: Pick<GloveArming, 'disarm'>;
  frame: HandFrame;
  safety: SafetyProfile;
  draw(): number;
}

/** Where the wall is, curl, and how near counts as felt. */
const WALL = 0.5;
const AT_WALL = 0.04;
/** A finger knocks when it closes past this, and again once it was back. */
const MARK = 0.4;
const BACK = 0.3;
/** Slack is felt with the finger closed. */
const FIST = 0.85;
/** So long against it, before it counts as felt. */
const FELT_US = 300_000;
const TEXTURE_HZ = 40;
const KNOCK_MS = 150;
const LIFE_US = 100_000;
/** A silence longer than this ends it, as it ends a check. */
const SILENT_US = 3e6;
/** A comparison that nobody arms is forgotten: a later arm is meant for something else. */
const ARM_WITHIN_US = 120e6;

export function createGloveFeel(sources: FeelSources): GloveFeel {
  const { chain, codec, forces, arming, frame, safety } = sources;
  const wire: WireAbilities = { pulses: codec.plain !== true, paysOut: codec.payOut !== undefined };
  const leadership = createLeadership();
  const stops = new Float64Array(FINGER_COUNT).fill(1);
  const efforts = new Float64Array(FINGER_COUNT);
  const felt: Felt = { stopAt: 1, effort: 0 };
  let trial: FeelTrial | undefined;
  let resistance: Resistance | undefined;
  let finger = 1;
  let person = '';
  let state: GloveAnswer['state'] = 'idle';
  let reason: string | undefined;
  let wasBack = false;
  /** What is felt where effort is not what is compared, and the wearer has none of his own. */
  let firstEffort = 1;
  let againstSinceUs = Number.NaN;
  let paidOut: number | undefined;
  let silentSinceUs = Number.POSITIVE_INFINITY;
  /** Infinite while the wearer has armed. */
  let unarmedSinceUs = Number.POSITIVE_INFINITY;

  const wearer = (): WearerFeel => chain.now.description.feel ?? {};
  const actuatorsOf = (at: number) => chain.now.actuators.filter((one) => one && actuatorFinger(one) === at);

  const firstEffortOf = (at: number): number =>
    Math.min(
      1,
      ...actuatorsOf(at)
        .flatMap((one) => (one ? startingValues(one, safety, wire) : []))
        .flatMap(({ what, value }) => (what === 'effort' && value !== undefined ? [value] : [])),
    );

  function trouble(what: Feel, name: Finger, a: number, b: number): string | undefined {
    const at = FINGERS.indexOf(name);
    const all = actuatorsOf(at).flatMap((one) => (one ? startingValues(one, safety, wire) : []));
    const fitting = all.filter((one) => one.what === what);
    if (fitting.length === 0) return `Nothing acts on the ${name} of this glove.`;
    if (fitting.every(({ value }) => value === undefined))
      return `${what} cannot be felt on the ${name}: ${fitting[0].why}`;
    if (chain.now.sensing.fingerStates[at] !== TRACKED)
      return `The sensor of the ${name} is not believed: see \`tautline check\`.`;
    if (!canTell(what, a, b))
      return `${a} and ${b} are too near each other to be told apart: take values further apart.`;
    return undefined;
  }

  function end(next: 'done' | 'stopped', why?: string): void {
    const was = resistance;
    trial = undefined;
    resistance = undefined;
    state = next;
    reason = why;
    if (was) {
      was.drop(FEEL_TRIAL);
      was.trial = false;
    }
    payOut(undefined);
    if (forces.armed()) arming.disarm(FEEL_TRIAL, 'wearer');
  }

  /** Slack of a text glove, while it is tried. */
  function payOut(slack: number | undefined): void {
    if (paidOut === slack) return;
    paidOut = slack;
    codec.payOut?.(slack ?? wearer().slack);
    chain.now.resistance.repeatFree();
  }

  function touched(nowUs: number, against: boolean): void {
    if (!against || !chain.now.resistance.armed) againstSinceUs = Number.NaN;
    else if (Number.isNaN(againstSinceUs)) againstSinceUs = nowUs;
    else if (nowUs - againstSinceUs >= FELT_US) trial?.feel();
  }

  function ask(what: Feel, value: number, nowUs: number): void {
    const { sensing } = chain.now;
    const curl = sensing.curl[finger];
    const rate = sensing.curlRates[finger];
    const { tensionN, hasStop } = forcesOf(chain.now.actuators, safety)[finger];
    const base = what === 'effort' ? value : (wearer().effort ?? firstEffort);
    const stiffness = what === 'stiffness' ? value : (wearer().stiffnessNPerM ?? Number.POSITIVE_INFINITY);
    const padN = (base * tensionN * STRING_TRAVEL_M) / TIP_WAY_M;
    soften(WALL, softDepth(stiffness, padN, TIP_WAY_M), base, curl, hasStop, felt);
    stops[finger] = felt.stopAt;
    efforts[finger] = what === 'texture' ? roughen(felt.effort, value, TEXTURE_HZ, nowUs, rate) : felt.effort;
    chain.now.resistance.request(FEEL_TRIAL, '', stops, efforts, LIFE_US, nowUs);
    touched(nowUs, curl >= WALL - AT_WALL);
  }

  function knock(value: number): void {
    const curl = chain.now.sensing.curl[finger];
    if (curl < BACK) wasBack = true;
    if (!wasBack || curl < MARK || !chain.now.resistance.armed) return;
    wasBack = false;
    const refusal = forces.pulse(FEEL_TRIAL, {
      type: 'pulse',
      hand: chain.now.description.hand,
      finger: FINGERS[finger],
      amplitude: value,
      durationMs: Math.round(KNOCK_MS * value),
    });
    if (!refusal) trial?.feel();
  }

  const feel: Mutable<GloveFeel> = {
    actuators: () => chain.now.actuators.flatMap((one) => (one ? [one] : [])),
    safety,
    wire,
    running: () => trial !== undefined,
    found: undefined,
    refusesArming(who) {
      if (!trial || who === 'wearer') return undefined;
      return {
        code: 'notSupported',
        message: 'The wearer tries how forces feel, which only the wearer arms.',
      };
    },
    trouble,
    start({ what, finger: name, a, b, rounds, person: whose }, leader) {
      if (trial) end('stopped');
      finger = FINGERS.indexOf(name);
      stops.fill(1);
      efforts.fill(0);
      person = whose;
      feel.found = undefined;
      reason = undefined;
      wasBack = false;
      againstSinceUs = Number.NaN;
      silentSinceUs = Number.POSITIVE_INFINITY;
      unarmedSinceUs = Number.POSITIVE_INFINITY;
      firstEffort = firstEffortOf(finger);
      leadership.begin(leader);
      trial = createFeelTrial(what, a, b, rounds, sources.draw);
      resistance = chain.now.resistance;
      resistance.trial = true;
      state = 'running';
    },
    heardOf: leadership.heardOf,
    otherLeader(id) {
      const { leader } = leadership;
      return trial && leader && leader.id !== id ? leader : undefined;
    },
    show(which) {
      trial?.show(which);
      againstSinceUs = Number.NaN;
      wasBack = false;
    },
    choose(which) {
      if (!trial) return 'No trial of feel is under way.';
      const refusal = trial.choose(which);
      againstSinceUs = Number.NaN;
      wasBack = false;
      const revealed = trial.reveal();
      if (revealed) {
        feel.found = { person, what: trial.what, revealed, accepted: false };
        end('done');
      }
      return refusal;
    },
    stop(why) {
      if (trial) end('stopped', why);
    },
    sample(nowUs) {
      if (!trial) return;
      if (chain.now.resistance !== resistance) {
        end('stopped', 'The glove turned out to be a different one, or another fit was put to use.');
        return;
      }
      const { what, value } = trial;
      if (value === undefined) return;
      const { armed } = resistance;
      if (what === 'slack') {
        payOut(armed ? value : undefined);
        touched(nowUs, chain.now.sensing.curl[finger] >= FIST);
      } else if (!armed) againstSinceUs = Number.NaN;
      else if (what === 'knock') knock(value);
      else ask(what, value, nowUs);
    },
    notice(nowUs) {
      if (!trial) return;
      if (forces.armed()) unarmedSinceUs = Number.POSITIVE_INFINITY;
      else if (unarmedSinceUs === Number.POSITIVE_INFINITY) unarmedSinceUs = nowUs;
      if (leadership.gone(nowUs)) feel.stop(`Nothing was heard of ${leadership.leader?.name}, which led it.`);
      else if (nowUs - unarmedSinceUs > ARM_WITHIN_US)
        feel.stop('The glove was not armed within two minutes: begin again.');
      // Nobody is held meanwhile: the governor saw it before.
      else if (frame.valid) silentSinceUs = nowUs;
      else if (nowUs - silentSinceUs > SILENT_US) feel.stop('The glove fell silent.');
    },
    read(): GloveAnswer {
      const { hand, name } = chain.now.description;
      return {
        hand,
        glove: name,
        state,
        ...(reason === undefined ? {} : { reason }),
        armed: forces.armed(),
        ...(forces.armed() ? {} : { howToArm: chain.now.description.howToArm }),
        ...(trial
          ? {
              trial: {
                what: trial.what,
                finger: FINGERS[finger],
                round: trial.round,
                rounds: trial.rounds,
                showing: trial.showing,
                felt: { ...trial.felt },
              },
            }
          : {}),
        ...(feel.found ? { found: { ...feel.found } } : {}),
      };
    },
  };
  return feel;
}
