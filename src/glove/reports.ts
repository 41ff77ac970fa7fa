import type { FingerContact } from '../contact/finger-contact.js';
import type { TouchContacts } from '../contact/touches.js';
import { FINGERS, type HandSide, JOINT_NAMES } from '../hand/joints.js';
import type { DeviceState, LinkCounters } from '../link/codec.js';
import { latencyAdvice } from '../link/latency-advice.js';
import type { LinkStatus } from '../link/link.js';
import type { TimeSync, TimeSyncStatus } from '../link/time-sync.js';
import type { ServerMessageOf } from '../protocol/messages.js';
import type { EventReader } from '../resistance/events.js';
import { limitNames } from '../resistance/limits.js';
import type { Resistance } from '../resistance/resistance.js';
import { INPUT_POSE_STRIDE, INPUT_POSES, inputPosePaths, updateInputPoses } from '../sensing/input-poses.js';
import type { Inputs } from '../sensing/inputs.js';
import type { Sensing } from '../sensing/sensing.js';
import type { HandFrame } from './view.js';

/** What a glove reports about itself, as bodies of the stream's messages. */

/** Contacts are reported while the finger is nearer than this. */
const CONTACT_WITHIN_M = 0.03;

/** A contact that has moved less than this is not reported again, m. */
const CONTACT_NEWS_M = 5e-4;

type Body<T extends 'health' | 'resistance'> = Omit<ServerMessageOf<T>, 'type'>;

type FingerReport = NonNullable<Body<'resistance'>['fingers']['thumb']>;

export interface HealthSources {
  hand: HandSide;
  link: LinkStatus;
  sensing: Sensing;
  /** Samples a second, measured. */
  rateHz: number;
  counters: LinkCounters;
  device: DeviceState | undefined;
  timeSync: TimeSync;
  /** Of a serial link. */
  serialPath: string | undefined;
}

export function reportHealth(sources: HealthSources): Omit<Body<'health'>, 'timeUs'> {
  const { hand, link, sensing, rateHz, counters, device, timeSync } = sources;
  return {
    hand,
    link: reportLink(link),
    channels: sensing.channels.map(({ role }, index) => {
      const { kind, evidence, remedy } = sensing.health.verdicts[index];
      return {
        role,
        verdict: kind,
        ...(evidence === '' ? {} : { evidence }),
        ...(remedy === '' ? {} : { remedy }),
        counts: sensing.counts[index],
        value: sensing.values[index],
      };
    }),
    rateHz,
    lost: counters.lost + counters.badCrc + counters.malformed + counters.oversize,
    ...(device && device.batteryMv > 0 ? { batteryMv: device.batteryMv } : {}),
    ...(device?.temperatureC === undefined ? {} : { temperatureC: device.temperatureC }),
    faults: device ? [...device.faults] : [],
    clock: reportClock(timeSync.status, sources.serialPath),
  };
}

export const reportLink = ({
  state,
  address,
  recorded,
  simulated,
  error,
}: LinkStatus): Body<'health'>['link'] => ({
  state,
  address,
  ...(recorded === undefined ? {} : { recorded }),
  ...(simulated === undefined ? {} : { simulated }),
  ...(error ? { reason: error.line, code: error.code } : {}),
});

function reportClock(
  status: TimeSyncStatus,
  serialPath: string | undefined,
): NonNullable<Body<'health'>['clock']> {
  const { offsetUs, driftPpm, jitterUs, roundTripUs, resets, batchMs } = status;
  const note = batchMs > 0 && serialPath !== undefined ? latencyAdvice(batchMs, serialPath) : undefined;
  return {
    offsetUs,
    driftPpm,
    jitterUs,
    resets,
    ...(roundTripUs === undefined ? {} : { roundTripUs }),
    ...(batchMs > 0 ? { batchMs } : {}),
    ...(note === undefined ? {} : { note }),
  };
}

export function reportInputs(
  hand: HandSide,
  inputs: Inputs,
  frame: HandFrame,
): Omit<ServerMessageOf<'inputs'>, 'type' | 'seq'> {
  const values: Record<string, number | boolean> = {};
  inputs.paths.forEach((path, index) => {
    const value = inputs.values[index];
    values[path] = inputs.isBoolean[index] === 1 ? value !== 0 : value;
  });
  updateInputPoses(hand, frame.poses, inputPoses);
  const poses: Record<string, number[]> = {};
  inputPosePaths(hand).forEach((path, index) => {
    poses[path] = Array.from(inputPoses.subarray(index * INPUT_POSE_STRIDE, (index + 1) * INPUT_POSE_STRIDE));
  });
  return { hand, timeUs: frame.timeUs, values, poses };
}

export function reportSignals(
  hand: HandSide,
  { counts, values, curl }: Sensing,
  timeUs: number,
): Omit<ServerMessageOf<'signals'>, 'type'> {
  return {
    hand,
    timeUs: Math.round(timeUs),
    counts: Array.from(counts),
    values: Array.from(values),
    curls: Array.from(curl),
  };
}

const inputPoses = new Float64Array(INPUT_POSES.length * INPUT_POSE_STRIDE);

/**
 * Takes the governor's events: each is reported once. @param since the events from this number on instead; none is
 * taken
 */
export function reportResistance(
  hand: HandSide,
  resistance: Resistance,
  curls: ArrayLike<number>,
  contacts: TouchContacts,
  since?: { event: number },
): Body<'resistance'> {
  const { status } = resistance;
  const fingers: Body<'resistance'>['fingers'] = {};
  FINGERS.forEach((name, finger) => {
    const held = status.held[finger] === 1;
    fingers[name] = {
      curl: curls[finger],
      ...(held ? { stopAt: status.stops[finger], by: status.apps[finger] } : {}),
      effort: status.efforts[finger],
      tensionN: status.tensionsN[finger],
      heat: status.heats[finger],
      limits: limitNames(status.limits[finger]),
      ...reportContact(contacts.contact[finger]),
    };
  });
  const events: NonNullable<Body<'resistance'>['events']> = [];
  const take: EventReader = (timeUs, finger, reason) => {
    events.push({ timeUs, ...(finger >= 0 ? { finger: FINGERS[finger] } : {}), reason });
  };
  if (since) since.event = resistance.eventsSince(since.event, take);
  else resistance.drainEvents(take);
  return {
    hand,
    timeUs: status.timeUs,
    armed: status.armed,
    fingers,
    ...(events.length > 0 ? { events } : {}),
  };
}

function reportContact(contact: FingerContact | undefined): Pick<FingerReport, 'contact'> {
  if (!contact || contact.joint < 0 || !(contact.depth > -CONTACT_WITHIN_M)) return {};
  const [px, py, pz] = contact.point;
  const [nx, ny, nz] = contact.normal;
  return {
    contact: {
      joint: JOINT_NAMES[contact.joint],
      point: [px, py, pz],
      normal: [nx, ny, nz],
      depthM: contact.depth,
    },
  };
}

/** @returns whether the contacts to report have changed since it last returned true; cheap */
export function createContactNews(): (contacts: TouchContacts) => boolean {
  const joints = new Int16Array(FINGERS.length).fill(-1);
  const depths = new Float64Array(FINGERS.length);
  return ({ contact }) => {
    let news = false;
    for (let finger = 0; finger < FINGERS.length; finger++) {
      const met = contact[finger];
      const told = met !== undefined && met.depth > -CONTACT_WITHIN_M;
      const joint = told ? met.joint : -1;
      const depth = told ? met.depth : 0;
      if (joint === joints[finger] && Math.abs(depth - depths[finger]) < CONTACT_NEWS_M) continue;
      joints[finger] = joint;
      depths[finger] = depth;
      news = true;
    }
    return news;
  };
}
