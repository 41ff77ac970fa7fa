import type { ActuatorProfile, SafetyProfile } from '../config/schema.js';
import { heedsEffort, stallTensionN } from './actuators.js';
import { STRING_TRAVEL_M } from './touch-requests.js';
import { FEEL_RANGE, type Feel, type WearerFeel } from './wearer-feel.js';

/**
 * Where to begin to try how forces feel, from what an actuator's data say. Starting values, no more: the wearer's own hand
 * decides. Rules marked "common practice" have no source.
 */

/** Way of the index finger's tip from open to closed, m: a hand of 189 mm (docs/sizing.md). */
export const TIP_WAY_M = 0.169;
/** A firm and harmless pull at the string for a beginning, N: some 0.8 N at the pad. Common practice. */
const FIRST_TENSION_N = 3;
/** A soft surface gives its whole force within this part of the way of the finger. Common practice. */
const SOFT_PART = 0.1;
/** A string with its thimble stretches by 1 mm at 5 N, as in the physical model (docs/sizing.md). Common practice. */
const STRETCH_M_PER_N = 0.001 / 5;
/** A free string hangs by twice its stretch, and by no less than this, curl. Common practice. */
const LEAST_SLACK = 0.03;
const MOST_SLACK = 0.15;
/** Dips of the effort that are felt as a texture: several times the least difference (see JUST_NOTICEABLE). Common practice. */
const FIRST_TEXTURE = 0.3;
const FIRST_BUZZ = 0.6;

/**
 * Least difference that a hand can tell, as a part. Force: 7 % (X. Pang, H. Tan, N. Durlach, Percept. Psychophys. 49,
 * 1991). Stiffness: 23 % (L. Jones, I. Hunter, Exp. Brain Res. 79, 1990). Both from memory. Of the others: common practice.
 */
export const JUST_NOTICEABLE: Record<Feel, number> = {
  effort: 0.07,
  stiffness: 0.23,
  texture: 0.15,
  knock: 0.15,
  slack: 0.15,
};

/** What a glove's way of talking permits. */
export interface WireAbilities {
  pulses: boolean;
  /** It is told how far a free string is paid out: a glove that sends text, with such a field in its line. */
  paysOut: boolean;
}

export interface StartingValue {
  what: Feel;
  /** Absent: it cannot be felt with this actuator. */
  value?: number;
  /** Another one that can be told from it, to compare. */
  against?: number;
  /** By which rule, or why not. */
  why: string;
}

export function startingValues(
  actuator: ActuatorProfile,
  safety: Pick<SafetyProfile, 'maxTensionN'>,
  wire: WireAbilities,
): StartingValue[] {
  const holds = actuator.kind !== 'vibration';
  const heeds = holds && heedsEffort(actuator);
  const stallN = stallTensionN(actuator);
  // A hobby servo that would exceed the cap is never used.
  const usable = holds && (heeds || stallN <= safety.maxTensionN);
  const tensionN = Math.min(stallN, safety.maxTensionN);
  const none = (what: Feel, why: string): StartingValue => ({ what, why });
  const effort = heeds ? round(Math.min(1, FIRST_TENSION_N / tensionN)) : 1;
  const padN = (effort * tensionN * STRING_TRAVEL_M) / TIP_WAY_M;
  const allOrNothing = 'It holds with all it has or not at all.';
  const unused = `It stalls at ${stallN.toFixed(1)} N, over the cap of ${safety.maxTensionN} N, and is never used.`;
  const noHold = holds ? unused : 'A vibration motor holds nothing.';

  return [
    !usable
      ? none('effort', noHold)
      : !heeds
        ? none('effort', allOrNothing)
        : pair(
            'effort',
            effort,
            `${FIRST_TENSION_N} N of the ${tensionN.toFixed(1)} N permitted, for a beginning (common practice).`,
          ),
    !usable
      ? none('stiffness', noHold)
      : pair(
          'stiffness',
          round(padN / (SOFT_PART * TIP_WAY_M)),
          `Hooke's law: ${padN.toFixed(2)} N at the pad after a tenth of its way, ${(SOFT_PART * TIP_WAY_M * 1000).toFixed(0)} mm (the tenth is common practice).`,
        ),
    !usable
      ? none('texture', noHold)
      : !heeds
        ? none('texture', `${allOrNothing} A texture is a dip in the effort.`)
        : pair(
            'texture',
            FIRST_TEXTURE,
            `Four times the 7 % of force that a hand can tell (Pang, Tan and Durlach 1991, from memory).`,
          ),
    !wire.pulses
      ? none('knock', 'A glove that sends text knows no pulses.')
      : holds && !usable
        ? none('knock', unused)
        : pair(
            'knock',
            heeds || !holds ? FIRST_BUZZ : 1,
            heeds || !holds
              ? 'Well above what can just be felt, below what startles (common practice).'
              : 'A servo hears a pulse every 20 ms and takes some more to get there: only the longest knock is felt well (common practice).',
          ),
    !wire.paysOut
      ? none(
          'slack',
          wire.pulses
            ? 'The firmware pays out the string: `free` in pins.h.'
            : 'Its release line has no field that could pay the string out.',
        )
      : actuator.kind !== 'stringStop'
        ? none('slack', 'It has no string to pay out.')
        : pair(
            'slack',
            round(
              Math.min(MOST_SLACK, Math.max(LEAST_SLACK, (2 * STRETCH_M_PER_N * tensionN) / STRING_TRAVEL_M)),
            ),
            `Twice the stretch of the string at ${tensionN.toFixed(1)} N, of ${(STRING_TRAVEL_M * 1000).toFixed(0)} mm travel (common practice). More drags less, and is stopped later: by slack over ${actuator.speedCurlPerS} curl/s.`,
          ),
  ];
}

/** Starts with twice or half the value, whichever is inside. */
function pair(what: Feel, value: number, why: string): StartingValue {
  const { least, most } = FEEL_RANGE[what];
  const inside = Math.min(most, Math.max(least, value));
  const against = round(inside * 2 <= most ? inside * 2 : inside / 2);
  return { what, value: inside, against, why };
}

/** Two digits. */
const round = (value: number): number => Number(value.toPrecision(2));

/** Whether a hand can tell two values apart, most of the time. */
export function canTell(what: Feel, a: number, b: number): boolean {
  const [less, more] = [Math.min(a, b), Math.max(a, b)];
  return more >= less * (1 + JUST_NOTICEABLE[what]) && more > less;
}

/** What is in use of one of them: the wearer's own, or what apps and profile ask for. */
export const inUseOf = (what: Feel, wearer: WearerFeel, slack: number): number | undefined =>
  what === 'slack' ? (wearer.slack ?? slack) : wearer[FEEL_RANGE[what].key];
