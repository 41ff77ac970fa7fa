import { heightsOf } from './sizing-converter.js';
import type { FingerSizing, SizingInput } from './sizing-parts.js';

/**
 * The lines of a profile that say the same as the parts. Counts are those of a range in the middle of the converter: a fit
 * finds the real ones.
 */
export function profileLines(input: SizingInput, fingers: readonly FingerSizing[]): string[] {
  const { converterBits, spoolRadiusMm, potTravelDeg, servoTorqueNm, servoRadiusMm, servoStallA } = input;
  const full = 2 ** converterBits - 1;
  const stringMmPerS = (Math.PI / 3 / input.servoS60) * servoRadiusMm;
  const number = (value: number, digits = 3) => Number(value.toPrecision(digits));
  const channels = fingers.map(({ finger, usedPart }, f) => {
    // An ESP32 with the resistors of sizing-converter.ts: 0.51 to 2.41 V of a full scale of 3.9 V.
    const [middle, half, scale] = input.board === 'esp32' ? [0.375, 0.243, 0.487] : [0.5, 0.45, 1];
    const reach = Math.min(half, (usedPart * scale) / 2);
    const [open, closed] = [middle - reach, middle + reach].map((part) => Math.round(part * full));
    const heights = heightsOf(input, f).map((height) => number(height));
    return `      - { role: ${finger}.curl, bits: ${converterBits}, open: ${open}, closed: ${closed}, string: { spoolRadiusMm: ${spoolRadiusMm}, electricalTravelDeg: ${potTravelDeg}, heightsMm: [${heights.join(', ')}] } }`;
  });
  const servos = fingers.slice(0, input.servos).map(({ finger, excursionMm, pulsesUs: [low, high] }) => {
    const speed = number(stringMmPerS / excursionMm);
    return `      - { role: ${finger}, kind: stringStop, stallTorqueNm: ${servoTorqueNm}, spoolRadiusMm: ${servoRadiusMm}, stallCurrentA: ${servoStallA}, speedCurlPerS: ${speed}, servoUs: [${low}, ${high}] }`;
  });
  return [
    '    channels:',
    ...channels,
    '    actuators:',
    ...servos,
    'safety:',
    `  maxTensionN: ${input.maxTensionN}`,
    `  maxSupplyA: ${input.supplyA}`,
  ];
}
