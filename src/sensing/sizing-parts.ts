import type { Finger } from '../hand/joints.js';

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
  /** Which converter reads the potentiometers: one whose reference is the rail, or that of an ESP32. */
  board: Board;
  /** Resistance of a potentiometer from end to end, ohm. */
  potOhms: number;
  /** Turn of the servo over the whole range of its pulses, degrees. */
  servoSwingDeg: number;
  /** The pulses at the two ends of that turn, µs. */
  servoLowUs: number;
  servoHighUs: number;
  /** At the servos, V. */
  servoVolts: number;
  /** Of a battery that feeds them through a boost converter, V; 0: they are fed directly. */
  cellVolts: number;
  /** Of that converter, 0..1. */
  boostEfficiency: number;
  /** Most that the cell may give, in multiples of its capacity an hour. */
  cellC: number;
  /** Length of the cable from supply to servos, one way, m, and cross-section of each wire, mm². */
  cableM: number;
  wireMm2: number;
  /** Heights of single fingers, where they differ. */
  fingerHeightsMm?: Partial<Record<Finger, readonly [number, number, number]>>;
}

export type Board = 'ratiometric' | 'esp32';

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
  board: 'ratiometric',
  potOhms: 10_000,
  servoSwingDeg: 180,
  servoLowUs: 500,
  servoHighUs: 2500,
  servoVolts: 5,
  cellVolts: 0,
  boostEfficiency: 0.85,
  cellC: 2,
  cableM: 0.5,
  wireMm2: 0.5,
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
  | 'runTime'
  | 'converterUsable'
  | 'servoSwing'
  | 'pulseLow'
  | 'pulseHigh'
  | 'padForce'
  | 'arrival'
  | 'cellPeak'
  | 'cellRate'
  | 'supplyLow'
  | 'cableDrop'
  | 'wire'
  | 'fuse';

export interface Figure {
  readonly name: FigureName;
  readonly text: string;
  readonly value: number;
  readonly unit: string;
  /** The formula with its numbers. */
  readonly formula: string;
}

/** What one part of the arithmetic comes to. */
export interface Part {
  readonly figures: readonly Figure[];
  /** One line each: what is wrong and what to do. */
  readonly warnings: readonly string[];
}

export interface FingerSizing {
  readonly finger: Finger;
  readonly excursionMm: number;
  /** Of the potentiometer's turn, and of the servo. */
  readonly usedPart: number;
  readonly swingDeg: number;
  readonly degreesPerCount: number;
  /** Of the servo at the ends of its swing, about the middle of its range. */
  readonly pulsesUs: readonly [number, number];
}

export interface Sizing extends Part {
  readonly fingers: readonly FingerSizing[];
  /** Lines of a profile with these parts, to paste. */
  readonly profile: readonly string[];
}

export const figure = (
  name: FigureName,
  text: string,
  value: number,
  unit: string,
  formula: string,
): Figure => ({
  name,
  text,
  value,
  unit,
  formula,
});

/** To some significant digits, whole from 100 on. */
export const round = (x: number, digits = 3): string =>
  Math.abs(x) >= 100 ? String(Math.round(x)) : String(Number(x.toPrecision(digits)));
