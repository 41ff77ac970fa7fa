import type { Glove } from '../glove/view.js';
import type { HandRecords } from './session-writer.js';

/** Writes the records of one glove. */

/** Whatever is needed to understand what follows. */
export function writeState(to: HandRecords, glove: Glove, timeUs: number): void {
  writeGlove(to, glove, timeUs);
  writeFits(to, glove, timeUs);
  const { state } = glove.linkStatus;
  writeStatus(to, glove, timeUs, state, undefined, state === 'live');
  writeDrift(to, glove, timeUs);
  to.json(glove.description.hand, 'health', timeUs, { type: 'health', ...glove.readHealth() });
}

export function writeGlove(writer: HandRecords, { description }: Glove, timeUs: number): void {
  const { name, hand, sampleRateHz, deviceId, firmwareVersion, channels, actuators, skeleton } = description;
  writer.json(hand, 'glove', timeUs, {
    timeUs,
    name,
    hand,
    sampleRateHz,
    deviceId,
    firmwareVersion,
    channels,
    actuators,
    lengthM: skeleton.lengthM,
    breadthM: skeleton.breadthM,
  });
}

export function writeFits(writer: HandRecords, { description, fitsInUse }: Glove, timeUs: number): void {
  const { channels, actuators, hand, mount } = fitsInUse;
  const fits = [channels, actuators, hand, mount].filter((fit) => fit !== undefined);
  writer.json(description.hand, 'fits', timeUs, { timeUs, fits });
}

export function writeDrift(writer: HandRecords, glove: Glove, timeUs: number): void {
  writer.json(glove.description.hand, 'drift', timeUs, { timeUs, memory: glove.rememberDrift() });
}

export function writeStatus(
  writer: HandRecords,
  glove: Glove,
  timeUs: number,
  state: string,
  silence?: string,
  joinedLate = false,
): void {
  const { address, error } = glove.linkStatus;
  const reason = silence ?? error?.line;
  writer.json(glove.description.hand, 'status', timeUs, {
    timeUs,
    state,
    address,
    ...(reason === undefined ? {} : { reason }),
    ...(error ? { code: error.code } : {}),
    ...(joinedLate ? { joinedLate, drift: glove.rememberDrift() } : {}),
  });
}

/** Without the time to the next try, which always changes. */
export const statusKey = ({ linkStatus: { state, address, error } }: Glove): string =>
  `${state} ${address} ${error?.line ?? ''}`;
