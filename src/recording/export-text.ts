import type { GloveDescription, HandFrame } from '../glove/view.js';
import {
  FINGERS,
  type HandSide,
  JOINT_COUNT,
  JOINT_NAMES,
  POSE_STRIDE,
  VELOCITY_STRIDE,
} from '../hand/joints.js';
import { FINGER_STATES } from '../protocol/constants.js';
import type { FileWriter } from './file-writer.js';
import { createOfflineHands } from './offline.js';
import type { Session } from './session.js';

/** Part of a session, seconds from its start. */
export interface Range {
  fromS: number;
  toS: number;
}

/**
 * One line per pose; the header has the units. For each joint its position, rotation, radius and velocities, in the frame
 * that `space` names. @returns lines of data
 */
export function exportCsv(session: Session, out: FileWriter, { fromS, toS }: Range): number {
  let lines = 0;
  const header = ['time [s]', 'hand', 'space', 'valid', ...FINGERS.map((finger) => `${finger}_state`)];
  for (const name of JOINT_NAMES) {
    for (const axis of 'xyz') header.push(`${name}_${axis} [m]`);
    for (const part of ['qx', 'qy', 'qz', 'qw']) header.push(`${name}_${part} [1]`);
    header.push(`${name}_radius [m]`);
    for (const axis of 'xyz') header.push(`${name}_v${axis} [m/s]`);
    for (const axis of 'xyz') header.push(`${name}_w${axis} [rad/s]`);
  }
  out.text(`${header.join(',')}\n`);
  visitFrames(session, (hand, frame, atS) => {
    if (atS < fromS || atS > toS) return;
    lines++;
    const cells: (string | number)[] = [atS.toFixed(6), hand, frame.space, frame.valid ? 1 : 0];
    for (const state of frame.fingerStates) cells.push(FINGER_STATES[state]);
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      // A tenth of a micrometre, and less than a hundredth of a millidegree.
      for (let i = 0; i < POSE_STRIDE; i++) cells.push(trim(frame.poses[joint * POSE_STRIDE + i].toFixed(7)));
      for (let i = 0; i < VELOCITY_STRIDE; i++) {
        cells.push(trim(frame.velocities[joint * VELOCITY_STRIDE + i].toFixed(5)));
      }
    }
    out.text(`${cells.join(',')}\n`);
  });
  return lines;
}

const trim = (text: string): string => text.replace(/\.?0+$/, '').replace(/^-0$/, '0');

/**
 * One JSON object a line, in the order of recording: poses, inputs, what apps asked, what the governor gave, health
 * and marks, as the stream sends them, each with `atS`.
 */
export function exportNdjson(session: Session, out: FileWriter, { fromS, toS }: Range): number {
  let lines = 0;
  const write = (atS: number, message: object): void => {
    if (atS < fromS || atS > toS) return;
    lines++;
    out.text(`${JSON.stringify({ atS: Number(atS.toFixed(6)), ...message })}\n`);
  };
  const at = (timeUs: number): number => (timeUs - session.startUs) / 1e6;
  let seq = 0;
  const hands = visitFrames(
    session,
    (hand, frame, atS) => {
      if (atS < fromS || atS > toS) return;
      write(atS, { type: 'joints', ...asMessage(hand, frame, seq++) });
    },
    {
      mark: (timeUs, { text }) => write(at(timeUs), { type: 'mark', text }),
      request: (hand, timeUs, { app, request, refusal }) =>
        write(at(timeUs), { type: 'request', hand, app, request, ...(refusal ? { refusal } : {}) }),
      resistance: (_, timeUs, body) => write(at(timeUs), { ...body, type: 'resistance' }),
      health: (_, timeUs, body) => write(at(timeUs), { ...body, type: 'health' }),
      status: (hand, timeUs, { state, reason }) => write(at(timeUs), { type: 'link', hand, state, reason }),
    },
  );
  return hands.length > 0 ? lines : 0;
}

function asMessage(hand: HandSide, frame: HandFrame, seq: number): object {
  const { timeUs, space, valid, reason, fingerStates, poses, velocities } = frame;
  const rows = (values: Float64Array, stride: number) =>
    Array.from({ length: JOINT_COUNT }, (_, joint) =>
      Array.from(values.subarray(joint * stride, (joint + 1) * stride)),
    );
  return {
    hand,
    seq,
    timeUs: Math.round(timeUs),
    space,
    valid,
    ...(reason === undefined ? {} : { reason }),
    fingers: Object.fromEntries(FINGERS.map((finger, i) => [finger, FINGER_STATES[fingerStates[i]]])),
    poses: rows(poses, POSE_STRIDE),
    velocities: rows(velocities, VELOCITY_STRIDE),
  };
}

/** Recomputes every pose and visits it, with the seconds of the session at which its sample was taken. */
export function visitFrames(
  session: Session,
  take: (hand: HandSide, frame: HandFrame, atS: number, glove: GloveDescription) => void,
  also: Parameters<Session['visit']>[0] = {},
): readonly HandSide[] {
  const offline = createOfflineHands(session, (hand, frame) =>
    take(hand, frame, (frame.timeUs - session.startUs) / 1e6, offline.describe(hand)),
  );
  const { visitor } = offline;
  session.visit({
    ...also,
    ...visitor,
    status(hand, timeUs, body) {
      also.status?.(hand, timeUs, body);
      // The end of the recording service says nothing of the glove.
      if (body.state !== 'closed') visitor.status!(hand, timeUs, body);
    },
  });
  return offline.hands;
}
