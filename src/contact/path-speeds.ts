import { CLOSING_STEPS } from '../hand/closing.js';
import { DOFS_PER_FINGER } from '../hand/dofs.js';
import type { Skeleton } from '../hand/skeleton.js';

/** Bones of a finger's moving chain. */
export const BONES = 3;
/** Of a finger's table, from open to closed. */
export const ROWS = CLOSING_STEPS + 1;

/**
 * Bound of a joint's speed: the sum, over the turning joints before it, of angular rate times the length of the
 * chain in between. The wrist end of the chain stands still.
 * @param table as ClosingPath has it
 * @param speeds gets ROWS × (BONES + 1) of the finger: the greatest from that row on, metres per curl
 * @param every the table goes straight over so many rows
 */
export function tabulateSpeeds(
  { chainLengths }: Skeleton,
  table: Float64Array,
  finger: number,
  speeds: Float64Array,
  every = 1,
): void {
  for (let row = CLOSING_STEPS - 1; row >= 0; row--) {
    const to = (finger * ROWS + row) * (BONES + 1);
    if ((row + 1) % every !== 0) {
      for (let joint = 1; joint <= BONES; joint++) speeds[to + joint] = speeds[to + BONES + 1 + joint];
      continue;
    }
    const from = (finger * ROWS + row) * DOFS_PER_FINGER;
    for (let dof = 0; dof < DOFS_PER_FINGER; dof++) {
      rates[dof] = Math.abs(table[from + DOFS_PER_FINGER + dof] - table[from + dof]) * CLOSING_STEPS;
    }
    for (let joint = 1; joint <= BONES; joint++) {
      const here = jointSpeed(chainLengths, finger, joint, rates);
      speeds[to + joint] = Math.max(here, speeds[to + BONES + 1 + joint]);
    }
  }
}

const rates = new Float64Array(DOFS_PER_FINGER);

/** @param rates of the finger's angles, radians per curl */
export function jointSpeed(
  chainLengths: Float64Array,
  finger: number,
  joint: number,
  rates: Float64Array,
): number {
  let speed = 0;
  let reach = 0;
  for (let bone = joint - 1; bone >= 0; bone--) {
    reach += chainLengths[finger * BONES + bone];
    speed += reach * rates[bone === 0 ? 0 : bone + 1];
  }
  // Abduction turns the chain about the same joint as the first flexion.
  return speed + reach * rates[1];
}
