import type { Clock } from '../clock.js';
import { createTouchContacts, type TouchContacts, touchFault } from '../contact/touches.js';
import { FINGERS } from '../hand/joints.js';
import { TRACKED } from '../hand/validity.js';
import type { GloveCodec } from '../link/codec.js';
import type { Link } from '../link/link.js';
import type { Mutable } from '../mutable.js';
import { DISARMED, type Refusal } from '../protocol/refusals.js';
import { type Send, VALID_FOR_MS } from '../resistance/send-schedule.js';
import type { Chain } from './chain.js';
import { reportTouches, type TouchReport } from './gesture-report.js';
import type { GloveListeners } from './listeners.js';
import { createContactNews, reportResistance } from './reports.js';
import type { Glove, HandFrame } from './view.js';

/**
 * The way from apps to one glove:
 *
 *   stops of apps ─────────────────────────> resistance (the governor is last in it) ── stops ──> codec ──> link
 *   touches of apps ── where fingers meet ──────^
 */
export interface GloveForces extends Pick<Glove, 'resist' | 'touch' | 'pulse' | 'release' | 'drop'> {
  /** The glove is on a live link and has said what it is. */
  connected(): boolean;
  armed(): boolean;
  /** Releases sent to the glove. */
  readonly releases: number;
  /** A new pose: finds where fingers now meet what is touched, then the governor takes its step. */
  follow(nowUs: number): void;
  /** The governor takes its step: at every pose, every beat and every request. */
  step(nowUs: number): void;
  repeatRelease(nowUs: number): void;
  /** Frees the fingers before the chain is replaced: the next one knows nothing of what was held. */
  letGo(): void;
  /** Permits forces; who may is decided elsewhere (arming.ts). False when the governor refuses. */
  arm(by: string): boolean;
  disarm(by: string): void;
  /** Frees every finger for good. @returns when the glove has been told often enough; undefined: at once */
  shutdown(): Promise<void> | undefined;
  /** What the fingers meet in the newest pose; nothing while there is none. */
  contactsNow(): TouchContacts;
  /** Per finger: curl by which the stop that holds it is before the surface that it stands for, see TouchRequests. */
  givesNow(): Float64Array;
  read: Glove['readResistance'];
  /** What is touched, without the layer names of this folder. */
  touched(): TouchReport[];
  record: Glove['recordResistance'];
}

/** What has been received from a glove; without it, no finger is held. */
export interface Heard {
  /** The glove on this connection has described itself; until then its samples could be misread. */
  introduced: boolean;
  /** Of the newest sample; -Infinity while the glove is silent. */
  sampleTimeUs: number;
}

export interface GloveForcesSources {
  chain(): Chain;
  frame: HandFrame;
  heard: Heard;
  link: Link;
  codec: GloveCodec;
  time: Clock;
  listeners: GloveListeners;
  /** @param urgent goes out even behind unsent frames */
  send(bytes: Uint8Array, urgent?: boolean): boolean;
}

/** How often, and how far apart, a release is repeated to a glove without a known watchdog: text lines have no CRC. */
const PLAIN_RELEASES = 3;
const PLAIN_RELEASE_MS = 50;
/** Keeps layers of touches apart from those of plain stops. */
const TOUCH_LAYER = 'touch\u0000';
const NO_PULSES: Refusal = {
  code: 'notSupported',
  message: 'A glove that uses lines of text cannot pulse.',
};
export function createGloveForces(sources: GloveForcesSources): GloveForces {
  const { chain, frame, heard, link, codec, time, listeners, send } = sources;
  const { asked } = listeners;
  const fingerOk = new Uint8Array(FINGERS.length);
  const contacts = createTouchContacts();
  /** Per finger, of the touch that stops it. */
  const gives = new Float64Array(FINGERS.length);
  const givesHeld = new Float64Array(FINGERS.length);
  const noContacts = createTouchContacts();
  const contactNews = createContactNews();
  let revision = -1;
  let graspChanges = 0;
  let releasesLeft = 0;
  let releasedUs = Number.NEGATIVE_INFINITY;

  const isConnected = (): boolean => heard.introduced && link.status.state === 'live';

  function follow(nowUs: number): void {
    meet(nowUs);
    step(nowUs);
  }

  /** Turns touches into requests: where each finger meets each shape now, and how that feels. */
  function meet(nowUs: number): void {
    const { touches, touchRequests, resistance, sensing } = chain();
    const { dofs, curl, curlRates } = sensing;
    touches.solve(nowUs, dofs, frame.poses, frame.space, contacts, curl, curlRates);
    for (const touched of touches.live) {
      touchRequests.ask(touched, sensing.curl, sensing.curlRates, nowUs);
      const { stops, efforts } = touchRequests;
      for (let finger = 0; finger < gives.length; finger++) {
        if (contacts.by[finger] === touched) gives[finger] = touchRequests.gives[finger];
      }
      resistance.request(touched.app, touched.layer, stops, efforts, touched.expiresUs - nowUs, nowUs);
    }
  }

  function step(nowUs: number): void {
    const { resistance, sensing, newestCurls } = chain();
    for (let finger = 0; finger < fingerOk.length; finger++) {
      fingerOk[finger] = frame.valid && sensing.fingerStates[finger] === TRACKED ? 1 : 0;
    }
    const { curl, curlRates } = sensing;
    // Nothing is held while disarmed.
    const newest = resistance.armed ? newestCurls.update() : curl;
    carryOut(resistance.step(nowUs, curl, fingerOk, heard.sampleTimeUs, isConnected(), curlRates, newest));
    tell();
  }

  function carryOut(what: Send): void {
    if (what === 'nothing') return;
    const { resistance } = chain();
    const { stops, efforts, count } = resistance.commands;
    const taken =
      what === 'release' ? sendRelease() : send(codec.resist(VALID_FOR_MS, stops, efforts, count));
    releasesLeft = what === 'release' && codec.plain ? PLAIN_RELEASES - 1 : 0;
    if (!taken) resistance.unsent();
  }

  /** Goes out even behind unsent frames. */
  function sendRelease(): boolean {
    releasedUs = time.nowUs();
    forces.releases++;
    return send(codec.release(), true);
  }

  const owesReleases = (): boolean => releasesLeft > 0 && link.status.state === 'live';

  async function repeatReleases(): Promise<void> {
    for (; owesReleases(); releasesLeft--) {
      await new Promise<void>((resolve) => time.after(PLAIN_RELEASE_MS, resolve));
      sendRelease();
    }
  }

  /** Nothing is solved, and so nothing cleared, while nobody touches. */
  const contactsNow = () => (frame.valid && chain().touches.live.length > 0 ? contacts : noContacts);

  function givesNow(): Float64Array {
    const { held } = chain().resistance.status;
    const { by } = contactsNow();
    for (let finger = 0; finger < gives.length; finger++) {
      givesHeld[finger] = held[finger] === 1 && by[finger] ? gives[finger] : 0;
    }
    return givesHeld;
  }

  function tell(): void {
    const { touches } = chain();
    if (touches.graspChanges !== graspChanges) {
      graspChanges = touches.graspChanges;
      listeners.gestures();
    }
    const news = contactNews(contactsNow());
    const { status } = chain().resistance;
    if (status.revision === revision && !news) return;
    revision = status.revision;
    listeners.resistance();
  }

  function read(since?: { event: number }): ReturnType<Glove['readResistance']> {
    const { description, resistance, sensing } = chain();
    return reportResistance(description.hand, resistance, sensing.curl, contactsNow(), since);
  }

  function drop(app: string, layer?: string): void {
    const { touches, resistance } = chain();
    resistance.drop(app, layer);
    if (layer !== undefined) resistance.drop(app, TOUCH_LAYER + layer);
    touches.drop(app, layer === undefined ? undefined : TOUCH_LAYER + layer);
    step(time.nowUs());
  }

  const forces: Mutable<GloveForces> = {
    connected: isConnected,
    armed: () => chain().resistance.armed,
    releases: 0,
    follow,
    step,
    contactsNow,
    givesNow,
    read: () => read(),
    record: read,
    touched: () => (frame.valid ? reportTouches(chain().touches.live, TOUCH_LAYER.length) : []),

    repeatRelease(nowUs) {
      if (releasesLeft === 0 || nowUs - releasedUs < PLAIN_RELEASE_MS * 1000) return;
      releasesLeft--;
      sendRelease();
    },

    letGo() {
      const { touches, resistance } = chain();
      touches.clear();
      carryOut(resistance.disarm(time.nowUs(), 'the glove is a different one'));
      revision = -1;
    },

    shutdown() {
      carryOut(chain().resistance.shutdown(time.nowUs()));
      return owesReleases() ? repeatReleases() : undefined;
    },

    resist(app, request) {
      const { fingers, ttlMs, layer } = request;
      const nowUs = time.nowUs();
      const refusal = chain().resistance.requestFingers(app, fingers, ttlMs, nowUs, layer);
      // The glove feels it now, not at the next sample.
      if (!refusal) step(nowUs);
      return asked(app, request, refusal);
    },

    touch(app, request) {
      const { resistance, touches } = chain();
      const nowUs = time.nowUs();
      // One without effort asks where fingers are, and for no force.
      if (!resistance.armed && request.effort !== 0) {
        return asked(app, request, touchFault(request) ?? DISARMED);
      }
      const fault = touches.set(app, TOUCH_LAYER + (request.layer ?? ''), request, nowUs);
      if (fault) return asked(app, request, fault);
      if (frame.valid) follow(nowUs);
      return asked(app, request);
    },

    pulse(app, request, grasps = false) {
      const { resistance } = chain();
      const { finger, amplitude, durationMs, frequencyHz } = request;
      if (codec.plain) return asked(app, request, NO_PULSES);
      const nowUs = time.nowUs();
      const refusal = resistance.pulse(nowUs, finger, amplitude, durationMs, frequencyHz, app, grasps);
      if (!refusal) {
        step(nowUs);
        const { actuators, amplitudes, durationsMs, frequencyHz: hz, count } = resistance.pulses;
        for (let at = 0; at < count; at++)
          send(codec.pulse(actuators[at], amplitudes[at], durationsMs[at], hz));
      }
      return asked(app, request, refusal);
    },

    release(app, layer) {
      drop(app, layer);
      asked(app, { type: 'release', ...(layer === undefined ? {} : { layer }) });
    },

    drop(app) {
      drop(app);
    },

    arm(by) {
      // Who arms a glove that is not there does not mean the one that is plugged in later.
      if (!isConnected() || !chain().resistance.arm(time.nowUs(), by)) return false;
      tell();
      asked(by, { type: 'arm' });
      return true;
    },

    disarm(by) {
      const { touches, resistance } = chain();
      touches.clear();
      carryOut(resistance.disarm(time.nowUs(), by));
      tell();
    },
  };
  return forces;
}
