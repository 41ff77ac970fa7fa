import { basename } from 'node:path';
import { type ErrorCode, TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import { createGloveFrames } from '../link/glove-frames.js';
import type { Link, LinkEvents, LinkState, LinkStatus, RecordedAct } from '../link/link.js';
import { PROTOCOL_VERSION } from '../protocol/link-table.js';
import type { GloveBody, StatusBody } from './session.js';

/**
 * A link whose bytes come from a session; to the glove's chain it is like any other. What is written to it only goes
 * to `written`.
 *
 * Times are those of the recording, also after a jump, so that what is computed from them is the same to the last bit in
 * every round of a loop. Only the times shown keep increasing: they are later by `shownLaterUs`.
 */
export interface ReplayLink extends Link {
  readonly recorded: true;
  /** 0 until the replay jumps for the first time. */
  readonly shownLaterUs: number;
  received(timeUs: number, bytes: Uint8Array): void;
  sent(timeUs: number, bytes: Uint8Array): void;
  setStatus(body: StatusBody): void;
  act(timeUs: number, act: RecordedAct): void;
  /** Begins in the middle of a session: with the state of the link, and the glove's description. */
  enter(timeUs: number, glove: GloveBody | undefined, status: StatusBody | undefined): void;
  /** Leaves this point of the session. */
  leave(reason: string): void;
  /** Starts over at another point: nothing from before applies. */
  restart(shownLaterUs: number): void;
}

export interface ReplayLinkOptions {
  hand: HandSide;
  /** For people: name of the file. */
  name: string;
  /** The glove uses the link protocol rather than text lines. */
  frames: boolean;
  /** Use the recorded fits; false where another profile brings its own. */
  recordedFits?: boolean;
  /** Bytes that the chain sent to the glove. */
  written?: (hand: HandSide, bytes: Uint8Array) => void;
}

export function createReplayLink(options: ReplayLinkOptions): ReplayLink {
  const { hand, name, frames, recordedFits = true, written } = options;
  const from = { address: `replay of ${name}`, recorded: basename(name) };
  let events: LinkEvents | undefined;
  let status: LinkStatus = { state: 'closed', ...from };
  let closed = false;
  let pingUs = 0;
  let shownLaterUs = 0;
  const gloveSide = createGloveFrames({
    askHello() {},
    resist() {},
    release() {},
    ping: (token) => events?.pinged?.(token, pingUs),
    rate() {},
    pulse() {},
  });

  function enterState(state: LinkState, error?: TautlineError): void {
    if (closed) return;
    status = { state, ...from, ...(error ? { error } : {}) };
    events?.status(status);
  }

  const link: ReplayLink = {
    recorded: true,
    get shownLaterUs() {
      return shownLaterUs;
    },
    get status() {
      return status;
    },
    open(receiver) {
      events = receiver;
      enterState('opening');
    },
    write(bytes) {
      if (status.state !== 'live') return false;
      written?.(hand, bytes);
      return true;
    },
    async close() {
      closed = true;
      status = { state: 'closed', ...from };
    },
    received(timeUs, bytes) {
      if (!closed && status.state === 'live') events?.bytes(bytes, timeUs);
    },
    sent(timeUs, bytes) {
      if (!frames || closed) return;
      pingUs = timeUs;
      gloveSide.push(bytes);
    },
    setStatus({ state, reason, code }) {
      if (state === 'silent') {
        if (!closed) events?.silent?.(reason ?? 'The glove was silent.');
        return;
      }
      const error =
        reason === undefined || state === 'live'
          ? undefined
          : new TautlineError((code as ErrorCode | undefined) ?? 'portFailed', reason);
      gloveSide.reset();
      enterState(state, error);
    },
    act(timeUs, act) {
      if (closed || ((act.type === 'fits' || act.type === 'drift') && !recordedFits)) return;
      events?.acted?.(act, timeUs);
    },
    enter(timeUs, glove, was) {
      const state = was?.state ?? 'live';
      if (was && state !== 'live' && state !== 'silent') {
        link.setStatus(was);
        return;
      }
      gloveSide.reset();
      enterState('live');
      if (was?.drift) link.act(timeUs, { type: 'drift', memory: was.drift });
      if (!frames || !glove || glove.deviceId === undefined) return;
      const hello = gloveSide.hello({
        protocol: PROTOCOL_VERSION,
        hand: glove.hand,
        deviceId: glove.deviceId,
        firmwareVersion: glove.firmwareVersion ?? 0,
        sampleRateHz: glove.sampleRateHz,
        channels: glove.channels,
        actuators: glove.actuators,
      });
      link.received(timeUs, hello);
    },
    leave(reason) {
      if (!closed && status.state === 'live') events?.silent?.(reason);
    },
    restart(laterUs) {
      if (closed) return;
      shownLaterUs = laterUs;
      // Without a word: apps have heard that the replay jumped.
      status = { state: 'opening', ...from };
      gloveSide.reset();
      events?.acted?.({ type: 'restart', shownLaterUs }, 0);
    },
  };
  return link;
}
