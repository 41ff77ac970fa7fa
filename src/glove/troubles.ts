import type { GloveProfile } from '../config/schema.js';
import type { GloveCodec, Hello } from '../link/codec.js';
import type { Link, LinkStatus } from '../link/link.js';
import { firmwareLine, firmwareReport, HOW_TO_UPDATE } from '../protocol/firmware-versions.js';
import { faultText } from '../protocol/glove-faults.js';
import { PROTOCOL_VERSION } from '../protocol/link-table.js';
import type { Verdict } from '../sensing/health/verdicts.js';
import type { Sensing } from '../sensing/sensing.js';
import { createStranger } from './stranger.js';
import { unnamedOf, unnamedText } from './unnamed.js';
import type { HandFrame, Trouble } from './view.js';

/** What is wrong with a glove now, and what was a moment ago: a loose plug is well whenever somebody looks. */
export interface GloveTroubles {
  /** Every chunk of bytes. @param introduced the glove has described itself */
  bytes(chunk: Uint8Array, introduced: boolean): void;
  status(status: LinkStatus, nowUs: number): void;
  hello(said: Hello): void;
  buttons(bits: number, nowUs: number): void;
  verdicts(sensing: Sensing, nowUs: number): void;
  /** Once a second or so. */
  measure(): void;
  /** Why a glove on a live link is not understood. */
  stranger(nowUs: number): string | undefined;
  read(nowUs: number): Trouble[];
}

export interface TroubleSources {
  glove: GloveProfile;
  link: Link;
  codec: GloveCodec;
  frame: HandFrame;
  sensing(): Sensing;
  introduced(): boolean;
  faults(): readonly string[];
}

/** Verdicts that have gone again stay in the list for so long. */
const REMEMBERED_US = 60e6;
/** A button that was never let go for so long is stuck. */
const STUCK_S = 8;
/** Losses of the link are counted over so long. */
const LOSSES_US = 300e6;
const MANY_LOSSES = 3;
/** Frames are judged over so many seconds, and by so many of them; part that may be damaged or missing. As in link-report.ts. */
const WINDOW_S = 10;
const ENOUGH_FRAMES = 100;
const BAD_PART = 0.005;

export function createGloveTroubles(sources: TroubleSources): GloveTroubles {
  const { glove, link, codec, frame } = sources;
  const stranger = createStranger(glove);
  const recent = new Map<string, { verdict: Verdict; atUs: number }>();
  let losses: number[] = [];
  const window: { good: number; damaged: number; lost: number }[] = [];
  let said: Hello | undefined;
  let buttons = 0;
  /** Bits that were not set in some sample of this connection. */
  let letGo = 0;
  let sampledSinceUs = Number.NaN;
  let sampledUs = 0;
  let wasLive = false;

  function damage(): Trouble[] {
    const first = window[0];
    const last = window[window.length - 1];
    if (!first || !last) return [];
    const good = last.good - first.good;
    const damaged = last.damaged - first.damaged;
    const lost = last.lost - first.lost;
    const all = good + damaged;
    if (all < ENOUGH_FRAMES) return [];
    const part = (count: number) => `${((100 * count) / (all + lost)).toFixed(1)} %`;
    if (damaged > BAD_PART * all) {
      return [
        {
          what: 'link',
          state: 'wrong',
          says: `${part(damaged)} of what came in the last ${WINDOW_S} s arrived damaged.`,
          remedy: 'A loose plug, a long cable, a missing common ground, or too high a baud rate.',
        },
      ];
    }
    if (lost <= BAD_PART * (all + lost)) return [];
    return [
      {
        what: 'link',
        state: 'attention',
        says: `${part(lost)} of the samples of the last ${WINDOW_S} s are missing.`,
        remedy:
          'The firmware or the radio cannot keep up, or a plug is loose: lower the sample rate, look at the plugs.',
      },
    ];
  }

  function ofLink(nowUs: number): Trouble[] {
    const { state, error } = link.status;
    const found: Trouble[] = [];
    if (state !== 'live') {
      found.push({
        what: 'link',
        state: 'wrong',
        says: error?.message ?? `The link is ${state}: nothing comes from the glove.`,
        ...(error?.remedy === undefined ? {} : { remedy: error.remedy }),
      });
    } else if (!sources.introduced()) {
      const odd = stranger.reason(nowUs);
      const says = 'The port is open, but the glove has not described itself yet.';
      found.push({ what: 'link', state: 'wrong', ...(odd ?? { says }) });
    } else if (!frame.valid) {
      const says = frame.reason ?? 'No samples come.';
      found.push({
        what: 'samples',
        state: 'wrong',
        says,
        remedy: 'Check the cable, the plugs and the supply.',
      });
    }
    losses = losses.filter((atUs) => nowUs - atUs < LOSSES_US);
    if (losses.length >= MANY_LOSSES) {
      found.push({
        what: 'link',
        state: 'wrong',
        says: `The link broke ${losses.length} times in the last five minutes.`,
        remedy:
          'A loose plug or a broken cable, a weak supply that resets the board, or a radio out of reach.',
      });
    }
    return found;
  }

  function ofChannels(nowUs: number): Trouble[] {
    if (!frame.valid) return [];
    const found: Trouble[] = [];
    const { channels, health } = sources.sensing();
    for (const [i, { role }] of channels.entries()) {
      const now = health.verdicts[i];
      const past = recent.get(role);
      const verdict =
        now.kind !== 'healthy' ? now : past && nowUs - past.atUs < REMEMBERED_US ? past.verdict : now;
      if (verdict.kind === 'healthy') continue;
      const gone = now.kind === 'healthy' ? `, ${Math.round((nowUs - past!.atUs) / 1e6)} s ago` : '';
      found.push({
        what: role,
        state: verdict.usable ? 'attention' : 'wrong',
        says: `The sensor is ${WORDS[verdict.kind] ?? verdict.kind}${gone}${verdict.evidence ? `: ${verdict.evidence}` : ''}.`,
        remedy: verdict.remedy,
      });
    }
    return found;
  }

  function ofFirmware(): Trouble[] {
    if (!said || link.status.state !== 'live') return [];
    const found: Trouble[] = [];
    const report = firmwareReport(said.firmwareVersion);
    if (report.state === 'old') {
      const says = `${firmwareLine(report)} New in it: ${report.brings.join(' ')}`;
      found.push({ what: 'firmware', state: 'attention', says, remedy: HOW_TO_UPDATE });
    }
    if (said.protocol > PROTOCOL_VERSION) {
      found.push({
        what: 'firmware',
        state: 'attention',
        says: `The glove speaks version ${said.protocol} of the link protocol, and this program version ${PROTOCOL_VERSION}: what is new in it is not used.`,
        remedy: 'Update the program.',
      });
    }
    return found;
  }

  function ofButtons(): Trouble[] {
    const seconds = (sampledUs - sampledSinceUs) / 1e6;
    if (!frame.valid || !(seconds >= STUCK_S)) return [];
    return Object.entries(glove.buttons).flatMap(([name, bit]): Trouble[] =>
      letGo & (1 << bit)
        ? []
        : [
            {
              what: `button ${name}`,
              state: 'wrong',
              says: `It has been pressed ever since the glove connected, ${Math.round(seconds)} s ago.`,
              remedy: 'It hangs, its wire touches ground, or its pull-up is missing.',
            },
          ],
    );
  }

  return {
    bytes(chunk, introduced) {
      if (!introduced) stranger.see(chunk);
    },
    status({ state }, nowUs) {
      const live = state === 'live';
      if (live && !wasLive) stranger.connected(nowUs);
      if (wasLive && !live && state !== 'closed') losses.push(nowUs);
      if (!live) window.length = 0;
      if (!live) sampledSinceUs = Number.NaN;
      wasLive = live;
    },
    hello(hello) {
      said = hello;
    },
    buttons(bits, nowUs) {
      buttons |= bits;
      if (Number.isNaN(sampledSinceUs)) {
        sampledSinceUs = nowUs;
        letGo = 0;
      }
      letGo |= ~bits;
      sampledUs = nowUs;
    },
    verdicts({ channels, health }, nowUs) {
      for (const [i, { role }] of channels.entries()) {
        const verdict = health.verdicts[i];
        if (verdict.kind !== 'healthy') recent.set(role, { verdict, atUs: nowUs });
      }
    },
    measure() {
      if (!sources.introduced()) return;
      const { frames, badCrc, malformed, oversize, lost } = codec.counters;
      window.push({ good: frames, damaged: badCrc + malformed + oversize, lost });
      if (window.length > WINDOW_S + 1) window.shift();
    },
    stranger(nowUs) {
      const odd = stranger.reason(nowUs);
      return odd && `${odd.says} ${odd.remedy}`;
    },
    read(nowUs) {
      if (link.recorded) return [];
      return [
        ...ofLink(nowUs),
        ...damage(),
        ...ofChannels(nowUs),
        ...ofButtons(),
        ...sources.faults().map(
          (fault): Trouble => ({
            what: 'glove',
            state: 'attention',
            says: `The glove says: ${faultText(fault)}.`,
          }),
        ),
        ...ofFirmware(),
        ...(said ? unnamedOf(glove, said, buttons) : []).map(
          (one): Trouble => ({ what: 'profile', state: 'attention', ...unnamedText(one) }),
        ),
      ];
    },
  };
}

const WORDS: Record<string, string> = {
  missing: 'in the profile, but the glove does not send it',
  railed: 'at an end of the converter',
  shortRange: 'short of range',
  crossTalk: 'disturbed by another channel',
};
