import { createClosingProfile } from '../hand/closing.js';
import { FINGERS } from '../hand/joints.js';
import { closingAnglesOf } from './channels.js';
import { type FingerSizing, figure, type Part, round, type SizingInput } from './sizing-parts.js';
import { DEFAULT_HEIGHTS_MM, excursionMm } from './string-model.js';

/** String, potentiometer and converter: how far each turns, and what a count is worth. */

/** Hand length for which DEFAULT_HEIGHTS_MM stand, mm. Heights grow with the hand: common practice. */
const HEIGHTS_AT_MM = 189;
/** Above this part of the potentiometer's turn there is no room for a larger hand. Common practice. */
const TRAVEL_ROOM = 0.95;
/** Below this part of the converter precision is wasted. */
const TRAVEL_LITTLE = 0.3;
/** Coarser than this shows as steps, degrees. Common practice. */
const COARSE_DEG = 0.5;

/**
 * ESP32, 11 dB attenuation: useful input and full scale, V (the maker's programming guide 4.4, "Analog to Digital Converter",
 * and its driver header). The reference is inside the chip: a reading is volts, not a part of the rail.
 */
const ESP32 = { railV: 3.3, lowV: 0.15, highV: 2.45, fullV: 3.9 } as const;
/** No finger may read below 12 % of full scale, or an open wiper cannot be told from one: docs/wiring.md. */
const LEAST_V = 0.12 * ESP32.fullV;
/** E12 series, IEC 60063. */
const E12 = [1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2] as const;

const RAD = 180 / Math.PI;

export function heightsOf(input: SizingInput, finger: number): readonly number[] {
  const own = input.fingerHeightsMm?.[FINGERS[finger]] ?? input.heightsMm;
  return own ?? DEFAULT_HEIGHTS_MM.map((height) => (height * input.handLengthMm) / HEIGHTS_AT_MM);
}

/** Angles from the open to the closed finger: MCP, PIP, DIP, or the thumb's CMC, MCP, IP, rad. */
export function anglesOf(finger: number): Float64Array {
  const closing = closingAnglesOf(createClosingProfile(), finger);
  const open = new Float64Array(3);
  const angles = new Float64Array(3);
  closing(0, open);
  closing(1, angles);
  return angles.map((angle, j) => angle - open[j]);
}

/** Counts that the whole turn of the potentiometer spreads over. */
const countsOfTurn = ({ board, converterBits }: SizingInput): number => {
  const full = 2 ** converterBits - 1;
  return board === 'esp32' ? (full * ESP32.railV) / ESP32.fullV : full;
};

/** The pulses between which a servo swings so far, about the middle of its range. */
function pulsesOf(
  { servoLowUs, servoHighUs, servoSwingDeg }: SizingInput,
  swingDeg: number,
): [number, number] {
  const middle = (servoLowUs + servoHighUs) / 2;
  const half = (Math.min(1, swingDeg / servoSwingDeg) * (servoHighUs - servoLowUs)) / 2;
  return [Math.round(middle - half), Math.round(middle + half)];
}

export function fingersOf(input: SizingInput): FingerSizing[] {
  return FINGERS.map((finger, f) => {
    const angles = anglesOf(f);
    const excursion = excursionMm(heightsOf(input, f), angles);
    const usedPart = ((excursion / input.spoolRadiusMm) * RAD) / input.potTravelDeg;
    const counts = Math.min(1, usedPart) * countsOfTurn(input);
    const swingDeg = (excursion / input.servoRadiusMm) * RAD;
    return {
      finger,
      excursionMm: excursion,
      usedPart,
      swingDeg,
      pulsesUs: pulsesOf(input, swingDeg),
      // Along the closing profile every joint gets the same share of the string; the widest range is the coarsest.
      degreesPerCount: (Math.max(...angles) * RAD) / counts,
    };
  });
}

export function converterOf(input: SizingInput, index: FingerSizing): Part {
  const { spoolRadiusMm, potTravelDeg, board } = input;
  const at = FINGERS.indexOf('index');
  const [heights, angles] = [heightsOf(input, at), anglesOf(at)];
  const { excursionMm: excursion, usedPart: used, degreesPerCount } = index;
  const turn = countsOfTurn(input);
  const counts = Math.min(1, used) * turn;
  const widestDeg = Math.max(...angles) * RAD;
  const usable = board === 'esp32' ? (ESP32.highV - ESP32.lowV) / ESP32.railV : 1;
  const figures = [
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
    ...(board === 'esp32'
      ? [
          figure(
            'converterUsable',
            'Part of the turn that the converter reads',
            usable * 100,
            '%',
            `useful input / rail: (${ESP32.highV} - ${ESP32.lowV}) / ${ESP32.railV}`,
          ),
        ]
      : []),
    figure(
      'countsUsed',
      'Counts from open to closed',
      counts,
      'counts',
      board === 'esp32'
        ? `part used x full scale x rail / 3.9 V: ${round(Math.min(1, used), 3)} x ${2 ** input.converterBits - 1} x ${ESP32.railV} / ${ESP32.fullV}`
        : `part used x full scale: ${round(Math.min(1, used), 3)} x ${turn}`,
    ),
    figure(
      'degreesPerCount',
      'Joint angle a count (widest joint)',
      degreesPerCount,
      'deg',
      `range / counts: ${round(widestDeg)} / ${round(counts, 4)}`,
    ),
  ];
  return { figures, warnings: warningsOf(input, index, usable) };
}

function warningsOf(
  input: SizingInput,
  { usedPart: used, degreesPerCount }: FingerSizing,
  usable: number,
): string[] {
  const { potTravelDeg, spoolRadiusMm, board } = input;
  const warnings: string[] = [];
  const turnDeg = used * potTravelDeg;
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
  if (used > TRAVEL_ROOM * usable && board === 'esp32') {
    const { top, bottom } = endResistors(input.potOhms);
    warnings.push(
      `Converter: an ESP32 reads ${ESP32.lowV} to ${ESP32.highV} V, ${round(usable * 100)} % of the turn, and ${round(used * 100)} % are needed. Put ${ohms(top)} between the rail and the potentiometer and ${ohms(bottom)} between it and ground, and the whole turn lies inside; or use a spool of ${round((used / (TRAVEL_ROOM * usable)) * spoolRadiusMm)} mm radius, wound so that the range lies in the middle.`,
    );
  }
  if (degreesPerCount > COARSE_DEG) {
    warnings.push(
      `Coarse: ${round(degreesPerCount)} degrees a count show as steps. Use more of the converter, or one with more bits.`,
    );
  }
  return warnings;
}

/**
 * Resistors at both ends of a potentiometer that put its turn inside the useful input, and clear of an open wiper: in a divider the voltages are as the
 * resistances (Ohm's law). The next E12 value that keeps inside.
 */
export function endResistors(potOhms: number): { top: number; bottom: number } {
  let top = 0;
  let bottom = 0;
  // Each has to make up for the other, and for its rounding: both only grow, by less each time.
  for (let round = 0; round < 20; round++) {
    const needed = nextE12(((potOhms + top) * LEAST_V) / (ESP32.railV - LEAST_V));
    const above = nextE12(((potOhms + needed) * (ESP32.railV - ESP32.highV)) / ESP32.highV);
    if (needed === bottom && above === top) break;
    bottom = needed;
    top = above;
  }
  return { top, bottom };
}

/** The smallest value of the series that is no less. */
function nextE12(value: number): number {
  const decade = 10 ** Math.floor(Math.log10(value) + 1e-9);
  const step = E12.find((one) => one * decade >= value * (1 - 1e-9));
  return step === undefined ? 10 * decade : Number((step * decade).toPrecision(3));
}

const ohms = (value: number) => (value >= 1000 ? `${round(value / 1000)} kΩ` : `${round(value)} Ω`);
