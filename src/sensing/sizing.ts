import { createClosingProfile } from '../hand/closing.js';
import { FINGERS } from '../hand/joints.js';
import { closingAnglesOf } from './channels.js';
import { DEFAULT_HEIGHTS_MM, excursionMm } from './string-model.js';

/**
 * What a string, a potentiometer, a servo and a supply will do, before anything is bought or printed. Pure.
 * Angles of the finger come from the closing profile, travel from the string model (string-model.ts); the rest is
 * school mechanics, written out beside each figure.
 */
export interface SizingInput {
  /** Spool that the potentiometer measures, mm. */
  spoolRadiusMm: number;
  /** Rotation over which the potentiometer reads 0 to full scale, degrees. */
  potTravelDeg: number;
  converterBits: number;
  /** Crease of the wrist to the tip of the middle finger, mm; sets the heights unless they are given. */
  handLengthMm: number;
  /** String over knuckle, middle joint and last joint, mm. */
  heightsMm?: readonly [number, number, number];
  /** Stall torque of the servo at the supply's voltage, N·m. */
  servoTorqueNm: number;
  /** Time of the servo for 60 degrees, s, as data sheets give it. */
  servoS60: number;
  /** Spool of the servo, mm. */
  servoRadiusMm: number;
  /** Current of one stalled servo, A. */
  servoStallA: number;
  /** Servos on the supply. */
  servos: number;
  /** What the supply gives without sagging, A. */
  supplyA: number;
  /** Board, radio and servos at rest, A. */
  idleA: number;
  /** Part of the time that fingers are held at full effort, 0..1. */
  heldPart: number;
  /** Battery, mAh; 0: none. */
  batteryMah: number;
  /** Cap of the tension, N (`safety.maxTensionN`). */
  maxTensionN: number;
}

export const SIZING_DEFAULTS: SizingInput = {
  spoolRadiusMm: 10,
  potTravelDeg: 270,
  converterBits: 12,
  handLengthMm: 189,
  servoTorqueNm: 0.15,
  servoS60: 0.12,
  servoRadiusMm: 10,
  servoStallA: 0.7,
  servos: 5,
  supplyA: 2.5,
  idleA: 0.15,
  heldPart: 0.2,
  batteryMah: 0,
  maxTensionN: 8,
};

/** Names of the figures, for programs. */
export type FigureName =
  | 'excursion'
  | 'travelUsed'
  | 'countsUsed'
  | 'degreesPerCount'
  | 'stallTension'
  | 'tension'
  | 'stringSpeed'
  | 'closingSpeed'
  | 'current'
  | 'runTime';

export interface Figure {
  readonly name: FigureName;
  readonly text: string;
  readonly value: number;
  readonly unit: string;
  /** The formula with its numbers. */
  readonly formula: string;
}

export interface Sizing {
  readonly figures: readonly Figure[];
  /** One line each: what is wrong and what to do. */
  readonly warnings: readonly string[];
}

/** Hand length for which DEFAULT_HEIGHTS_MM stand, mm. Heights grow with the hand: common practice. */
const HEIGHTS_AT_MM = 189;
/** Above this part of the potentiometer's turn there is no room for a larger hand. Common practice. */
const TRAVEL_ROOM = 0.95;
/** Below this part of the converter precision is wasted. */
const TRAVEL_LITTLE = 0.3;
/** A fist as quick as most people make it, s. Common practice. */
const QUICK_FIST_S = 0.35;
/** Coarser than this shows as steps, degrees. Common practice. */
const COARSE_DEG = 0.5;
const INDEX = FINGERS.indexOf('index');

export function sizeGlove(input: SizingInput): Sizing {
  const { spoolRadiusMm, potTravelDeg, converterBits, servoTorqueNm, servoRadiusMm, servoStallA } = input;
  const scale = input.handLengthMm / HEIGHTS_AT_MM;
  const heights = input.heightsMm ?? DEFAULT_HEIGHTS_MM.map((h) => h * scale);
  const closing = closingAnglesOf(createClosingProfile(), INDEX);
  const open = new Float64Array(3);
  const angles = new Float64Array(3);
  closing(0, open);
  closing(1, angles);
  for (let j = 0; j < 3; j++) angles[j] -= open[j];
  const excursion = excursionMm(heights, angles);

  const turnDeg = ((excursion / spoolRadiusMm) * 180) / Math.PI;
  const used = turnDeg / potTravelDeg;
  const fullScale = 2 ** converterBits - 1;
  const counts = Math.min(1, used) * fullScale;
  // Along the closing profile every joint gets the same share of the string; the widest range is the coarsest.
  const widestDeg = (Math.max(...angles) * 180) / Math.PI;
  const degreesPerCount = widestDeg / counts;

  const stallTension = servoTorqueNm / (servoRadiusMm / 1000);
  const tension = Math.min(stallTension, input.maxTensionN);
  const turnRate = Math.PI / 3 / input.servoS60;
  const stringSpeed = turnRate * servoRadiusMm;
  const closingSpeed = stringSpeed / excursion;
  const current = input.idleA + input.servos * servoStallA;
  const mean = input.idleA + input.heldPart * (current - input.idleA);
  const runTime = input.batteryMah / 1000 / mean;

  const figures: Figure[] = [
    figure(
      'excursion',
      'String travel of a closing finger',
      excursion,
      'mm',
      `height x angle, summed: ${heights.map((h, j) => `${round(h)} x ${round(angles[j], 4)}`).join(' + ')}`,
    ),
    figure(
      'travelUsed',
      "Part of the potentiometer's turn used",
      used * 100,
      '%',
      `travel / spool radius / turn: ${round(excursion)} / ${spoolRadiusMm} x 57.30 / ${potTravelDeg}`,
    ),
    figure(
      'countsUsed',
      'Counts from open to closed',
      counts,
      'counts',
      `part used x full scale: ${round(Math.min(1, used), 3)} x ${fullScale}`,
    ),
    figure(
      'degreesPerCount',
      'Joint angle a count (widest joint)',
      degreesPerCount,
      'deg',
      `range / counts: ${round(widestDeg)} / ${round(counts, 4)}`,
    ),
    figure(
      'stallTension',
      'Tension at which the servo stalls',
      stallTension,
      'N',
      `torque / spool radius: ${servoTorqueNm} / ${servoRadiusMm / 1000}`,
    ),
    figure(
      'tension',
      'Tension at most, if it heeds effort',
      tension,
      'N',
      `the smaller of stall and cap: ${round(stallTension)} and ${input.maxTensionN}`,
    ),
    figure(
      'stringSpeed',
      'Fastest string at the servo',
      stringSpeed,
      'mm/s',
      `60 deg in ${input.servoS60} s x spool radius: ${round(turnRate)} rad/s x ${servoRadiusMm}`,
    ),
    figure(
      'closingSpeed',
      'Closing speed that it can keep ahead of',
      closingSpeed,
      'curl/s',
      `string speed / travel: ${round(stringSpeed)} / ${round(excursion)}, a fist in ${round(1 / closingSpeed)} s`,
    ),
    figure(
      'current',
      'Current with every finger held',
      current,
      'A',
      `rest + servos x stall current: ${input.idleA} + ${input.servos} x ${servoStallA}`,
    ),
  ];
  if (input.batteryMah > 0) {
    figures.push(
      figure(
        'runTime',
        'Run time on the battery',
        runTime,
        'h',
        `capacity / mean current: ${input.batteryMah / 1000} / (${input.idleA} + ${input.heldPart} x ${round(current - input.idleA)})`,
      ),
    );
  }
  return { figures, warnings: warningsOf() };

  function warningsOf(): string[] {
    const warnings: string[] = [];
    const smallest = (turnDeg / (TRAVEL_ROOM * potTravelDeg)) * spoolRadiusMm;
    if (used > 1) {
      warnings.push(
        `Over-range: the potentiometer needs ${round(turnDeg)} degrees and has ${potTravelDeg}. Use a spool of ${round(smallest)} mm radius or more, or one that turns further.`,
      );
    } else if (used > TRAVEL_ROOM) {
      warnings.push(
        `Hardly any room: a larger hand will run into the potentiometer's end. A spool of ${round(smallest)} mm radius leaves some.`,
      );
    } else if (used < TRAVEL_LITTLE) {
      warnings.push(
        `Short range: only ${round(used * 100)} % of the converter is used. Use a spool of ${round((turnDeg / (0.85 * potTravelDeg)) * spoolRadiusMm)} mm radius, or a potentiometer that turns less.`,
      );
    }
    if (degreesPerCount > COARSE_DEG) {
      warnings.push(
        `Coarse: ${round(degreesPerCount)} degrees a count show as steps. Use more of the converter, or one with more bits.`,
      );
    }
    if (stallTension > input.maxTensionN) {
      warnings.push(
        `Tension: the servo can pull ${round(stallTension)} N, more than the cap of ${input.maxTensionN} N. A hobby servo holds with all it has, so the cap binds only servos that heed effort: use a spool of ${round((servoTorqueNm / input.maxTensionN) * 1000)} mm radius or a weaker servo.`,
      );
    }
    if (1 / closingSpeed > QUICK_FIST_S) {
      warnings.push(
        `Slow: a quick fist takes ${QUICK_FIST_S} s, the servo ${round(1 / closingSpeed)} s. Quick fingers pass a surface before it stops them; a faster servo or a larger spool helps.`,
      );
    }
    if (current > input.supplyA) {
      warnings.push(
        `Supply too weak: it gives ${input.supplyA} A, and ${round(current)} A are needed with every finger held. Set safety.maxSupplyA to ${input.supplyA}, or use a stronger one.`,
      );
    }
    return warnings;
  }
}

const figure = (name: FigureName, text: string, value: number, unit: string, formula: string): Figure => ({
  name,
  text,
  value,
  unit,
  formula,
});

/** To some significant digits, whole from 100 on. */
export const round = (x: number, digits = 3): string =>
  Math.abs(x) >= 100 ? String(Math.round(x)) : String(Number(x.toPrecision(digits)));
