import { type Figure, figure, type Part, round, type SizingInput } from './sizing-parts.js';

/** Supply, cable and battery. Ohm's law and energy; limits are common practice unless a line says otherwise. */

/** Resistivity of copper at 20 °C, ohm mm²/m: IEC 60028 gives 1/58. */
const COPPER = 1 / 58;
/** What a wire beside skin may carry, A/mm². Common practice for short wires in free air; 0.5 mm² then carries 5 A. */
const WIRE_A_PER_MM2 = 10;
/** Cross-sections that are sold, mm² (IEC 60228, to 2.5). */
const WIRES_MM2 = [0.5, 0.75, 1, 1.5, 2.5] as const;
/** Ratings of blade fuses, A (ISO 8820-3, from memory). */
const FUSES_A = [1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30] as const;
/** A fuse of its own rating may blow after hours. Common practice: a tenth more than what flows. */
const FUSE_ROOM = 1.1;
/** Drop in the cable, part of the voltage, that is too much: the servos lose as much of their strength. */
const MOST_DROP = 0.05;
/** One lithium-ion cell, V: reported as low, as in the firmware's pins.h, and nearly empty, when it gives the most current. */
const CELL_LOW_V = 3.3;
/** A supply that sags below this part is overloaded, or its board browns out next. */
const SUPPLY_LOW = 0.9;

export function supplyOf(input: SizingInput): Part {
  const { idleA, servos, servoStallA, heldPart, supplyA } = input;
  const current = idleA + servos * servoStallA;
  const parts = [batteryOf(input, current, idleA + heldPart * (current - idleA)), cableOf(input, current)];
  const figures = [
    figure(
      'current',
      'Current with every finger held',
      current,
      'A',
      `rest + servos x stall current: ${idleA} + ${servos} x ${servoStallA}`,
    ),
    ...parts.flatMap((part) => part.figures),
  ];
  const warnings =
    current > supplyA
      ? [
          `Supply too weak: it gives ${supplyA} A, and ${round(current)} A are needed with every finger held. Set safety.maxSupplyA to ${supplyA}, or use a stronger one.`,
        ]
      : [];
  return { figures, warnings: [...warnings, ...parts.flatMap((part) => part.warnings)] };
}

function batteryOf(input: SizingInput, current: number, mean: number): Part {
  const { batteryMah, cellVolts, boostEfficiency, servoVolts, idleA, heldPart, cellC } = input;
  const boosted = cellVolts > 0;
  const low = boosted ? CELL_LOW_V : SUPPLY_LOW * servoVolts;
  const supplyLow = figure(
    'supplyLow',
    'Report the supply as low below',
    low,
    'V',
    boosted ? 'one lithium cell, nearly empty, before the boost converter' : `0.9 x ${servoVolts}`,
  );
  if (batteryMah <= 0) return { figures: [supplyLow], warnings: [] };
  const ah = batteryMah / 1000;
  const runTime = boosted ? (ah * cellVolts * boostEfficiency) / (servoVolts * mean) : ah / mean;
  const held = `(${idleA} + ${heldPart} x ${round(current - idleA)})`;
  // The same power at the lowest voltage: that is when a cell gives most.
  const peak = boosted ? (servoVolts * current) / (boostEfficiency * CELL_LOW_V) : current;
  const figures: Figure[] = [
    figure(
      'runTime',
      'Run time on the battery',
      runTime,
      'h',
      boosted
        ? `capacity x cell x efficiency / power: ${ah} x ${cellVolts} x ${boostEfficiency} / (${servoVolts} x ${held})`
        : `capacity / mean current: ${ah} / ${held}`,
    ),
    figure(
      'cellPeak',
      'Most that the battery has to give',
      peak,
      'A',
      boosted
        ? `power / efficiency / voltage when low: ${servoVolts} x ${round(current)} / ${boostEfficiency} / ${CELL_LOW_V}`
        : 'every finger held',
    ),
    figure('cellRate', 'The same in C', peak / ah, 'C', `current / capacity: ${round(peak)} / ${ah}`),
    supplyLow,
  ];
  if (peak / ah <= cellC) return { figures, warnings: [] };
  return {
    figures,
    warnings: [
      `Battery: ${round(peak)} A are ${round(peak / ah)} C, more than the ${cellC} C it may give. Use ${Math.ceil(peak / cellC / 0.1) * 100} mAh or more, or a cell made for more (its data sheet says; --cell-c). An overloaded lithium cell gets hot, and its protection cuts the power.`,
    ],
  };
}

function cableOf({ cableM, wireMm2, servoVolts }: SizingInput, current: number): Part {
  const drop = (current * 2 * cableM * COPPER) / wireMm2;
  const wanted = Math.max(
    current / WIRE_A_PER_MM2,
    (current * 2 * cableM * COPPER) / (MOST_DROP * servoVolts),
  );
  const wire = WIRES_MM2.find((area) => area >= wanted);
  const fuse = FUSES_A.find((rating) => rating >= FUSE_ROOM * current);
  const figures = [
    figure(
      'cableDrop',
      'Lost in the cable with every finger held',
      drop,
      'V',
      `current x 2 x length / (58 x cross-section): ${round(current)} x 2 x ${cableM} / (58 x ${wireMm2})`,
    ),
    figure(
      'wire',
      'Cross-section of the supply wires, at least',
      wire ?? Number.NaN,
      'mm2',
      `the next of ${WIRES_MM2.join(', ')} from: 10 A a mm2, and 5 % lost`,
    ),
    figure(
      'fuse',
      'Fuse in the plus wire, at the supply',
      fuse ?? Number.NaN,
      'A',
      `the next rating from 1.1 x ${round(current)}; the wire must carry it: 10 A a mm2`,
    ),
  ];
  const warnings: string[] = [];
  const carries = WIRE_A_PER_MM2 * wireMm2;
  if (wire === undefined || fuse === undefined) {
    warnings.push(
      `Cable: ${round(current)} A over ${cableM} m is more than one pair of wires for a glove should carry. Bring the supply nearer, or feed the servos in two groups with a fuse each.`,
    );
  } else if (wireMm2 < wire || carries < fuse) {
    const area = WIRES_MM2.find((one) => one >= wire && one * WIRE_A_PER_MM2 >= fuse);
    warnings.push(
      `Cable: ${wireMm2} mm2 loses ${round(drop)} V, and carries ${round(carries)} A where the fuse lets ${fuse} A through. Use ${area ?? 'a thicker wire, or two pairs:'} mm2 or more.`,
    );
  }
  return { figures, warnings };
}
