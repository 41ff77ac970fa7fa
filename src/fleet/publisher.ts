import { randomBytes } from 'node:crypto';
import { Worker } from 'node:worker_threads';
import type { Logger } from 'pino';
import { nowUs } from '../clock.js';
import type { Profile } from '../config/schema.js';
import type { FleetKind } from '../config/schema-fleet.js';
import type { Glove } from '../glove/view.js';
import type { HandSide } from '../hand/joints.js';
import { logEvent } from '../log/events.js';
import { packageFile } from '../package-files.js';
import { withoutSecrets } from '../recording/recorder.js';
import { type GlovePublisher, publishGlove } from './glove-publisher.js';
import type { FromPublisher, PublisherCounts, PublisherSetting, ToPublisher } from './publisher-messages.js';
import { profileDigest, sessionStart } from './session-start.js';
import { gloveStatus, type StationStatus } from './status.js';
import { FLEET_VERSION, type Kind } from './topics.js';

/** Publishes a service to a broker. Nothing comes back: this side has no function that takes anything from there. */
export interface Publisher {
  /** What the thread last said of itself. */
  readonly counts: PublisherCounts;
  /** Dropped here because the thread did not keep up; messages. */
  readonly dropped: number;
  /** Says good-bye to the broker, if it is there; never rejects, and takes a second at most. */
  close(): Promise<void>;
}

export interface PublisherOptions {
  profile: Profile;
  gloves: readonly Glove[];
  logger: Logger;
  version: string;
  /** The compiled publisher-thread; tests, which run from the sources, give its path. */
  program?: string;
  /** ns since 1970 now. */
  wallNs?: () => bigint;
  firstRetryMs?: number;
  maxRetryMs?: number;
}

const PROGRAM = packageFile('dist/fleet/publisher-thread.js');
/** What is lost when a collector loses a segment, and how late it gets one. */
const SEGMENT_MS = 250;
const STATUS_MS = 5000;
/** Of these, the drift that was followed changes with time. */
const START_MS = 10_000;
/** Bytes that the thread may be behind: more, and only raw bytes are passed to it; and then nothing. */
const BEHIND_POSES = 1e6;
const BEHIND_ALL = 8e6;
/** A queue of 16 MB and what the library needs; a thread that takes more is ended by the system, not the service. */
const THREAD_MB = 96;
const RESTART_MS = 5000;
const CLOSE_WITHIN_MS = 1500;
const NOTHING_YET: PublisherCounts = {
  connected: false,
  sent: 0,
  sentBytes: 0,
  refused: 0,
  dropped: { poses: 0, events: 0, raw: 0 },
  waitingBytes: 0,
  roundTripUs: 0,
  ntp: 'unknown',
};

/** @param options.profile with a `fleet` section */
export function startPublisher(options: PublisherOptions): Publisher {
  const { profile, gloves, logger, version, program = PROGRAM } = options;
  const { site, station, publish, rateHz, queueMb, queueS, ...fleet } = profile.fleet!;
  const run = randomBytes(8).toString('hex');
  const wallNs = options.wallNs ?? (() => BigInt(Date.now()) * 1_000_000n);
  const epochNs = wallNs() - BigInt(Math.round(nowUs() * 1000));
  const startedAt = new Date(Number(wallNs() / 1_000_000n)).toISOString();
  const recorded = withoutSecrets(profile);
  const digest = profileDigest(recorded);
  const wants = (kind: FleetKind): boolean => publish.includes(kind);
  let counts = NOTHING_YET;
  let dropped = 0;
  let closed = false;
  let thread: Worker | undefined;
  let restart: NodeJS.Timeout | undefined;
  const taken = new SharedArrayBuffer(4);
  const takenBytes = new Int32Array(taken);
  let givenBytes = 0;

  const status = (online: boolean): Uint8Array => {
    const { roundTripUs, sent, refused, waitingBytes, ntp } = counts;
    const body: StationStatus = {
      fleet: FLEET_VERSION,
      online,
      version,
      run,
      startedAt,
      publishes: publish,
      gloves: online ? gloves.map(gloveStatus) : [],
      ...(online
        ? {
            broker: { roundTripMs: roundTripUs / 1000, sent, refused, dropped: counts.dropped, waitingBytes },
            ntp,
          }
        : {}),
    };
    return Buffer.from(JSON.stringify(body));
  };

  function give(kind: Kind, hand: HandSide | undefined, bytes: Uint8Array): void {
    if (!thread) {
      dropped++;
      return;
    }
    const behind = (givenBytes - Atomics.load(takenBytes, 0)) | 0;
    if (behind > BEHIND_ALL || (behind > BEHIND_POSES && kind !== 'raw')) {
      dropped++;
      return;
    }
    givenBytes = (givenBytes + bytes.length) | 0;
    const message: ToPublisher = { type: 'publish', kind, hand, bytes };
    thread.postMessage(message);
  }

  const sayStatus = (): void => give('status', undefined, status(true));
  const sayStart = (): void => {
    if (!wants('raw')) return;
    const sources = { run, digest, program: version, epochNs, profile: recorded, gloves };
    give('session', undefined, sessionStart(sources, nowUs()));
  };

  function startThread(): void {
    Atomics.store(takenBytes, 0, 0);
    givenBytes = 0;
    const setting: PublisherSetting = {
      station: { site, station },
      broker: { ...fleet, url: fleet.broker },
      clientId: `tautline-${site}-${station}`,
      limits: { maxBytes: queueMb * 1e6, maxRawMs: queueS * 1000 },
      will: status(false),
      clock: { systemNs: process.hrtime.bigint(), serviceUs: nowUs() },
      taken,
      ...(options.firstRetryMs === undefined ? {} : { firstRetryMs: options.firstRetryMs }),
      ...(options.maxRetryMs === undefined ? {} : { maxRetryMs: options.maxRetryMs }),
    };
    const begun = new Worker(program, {
      name: 'publisher',
      workerData: setting,
      execArgv: [],
      resourceLimits: { maxOldGenerationSizeMb: THREAD_MB, maxYoungGenerationSizeMb: 4 },
    });
    thread = begun;
    begun.on('message', hear);
    begun.on('error', (error) => {
      logEvent(
        logger,
        'fleet.threadFailed',
        {},
        `the publisher failed: ${error.message}; it is started again`,
      );
    });
    begun.on('exit', () => {
      if (thread === begun) thread = undefined;
      if (closed) return;
      counts = { ...counts, connected: false };
      restart = setTimeout(startThread, RESTART_MS);
      restart.unref();
    });
    sayStart();
    sayStatus();
  }

  /** Numbers of the thread's own, and whether the broker is there: nothing of what the broker says. */
  function hear(message: FromPublisher): void {
    if (message.type === 'counts') {
      const { type: _, ...said } = message;
      if (said.refused > 0 && counts.refused === 0) logEvent(logger, 'fleet.refused', {});
      counts = said;
    } else if (message.type === 'open') {
      logEvent(logger, 'fleet.connected', { broker: fleet.broker });
      told = undefined;
    } else if (message.line !== told) {
      told = message.line;
      logEvent(logger, 'fleet.away', { code: message.code }, message.line);
    }
  }
  let told: string | undefined;

  startThread();
  const publishers: GlovePublisher[] = gloves.map((glove) =>
    publishGlove({ glove, wants, rateHz, run, digest, give, described: sayStart, changed: sayStatus }),
  );
  const timers = [
    setInterval(() => {
      for (const each of publishers) each.flush();
    }, SEGMENT_MS),
    setInterval(sayStatus, STATUS_MS),
    setInterval(sayStart, START_MS),
  ];

  return {
    get counts() {
      return counts;
    },
    get dropped() {
      return dropped;
    },
    async close() {
      closed = true;
      for (const timer of timers) clearInterval(timer);
      clearTimeout(restart);
      for (const each of publishers) each.stop();
      const ending = thread;
      if (!ending) return;
      const gone = new Promise<void>((resolve) => ending.once('exit', () => resolve()));
      ending.postMessage({ type: 'end', status: status(false) } satisfies ToPublisher);
      const late = setTimeout(() => void ending.terminate(), CLOSE_WITHIN_MS);
      await gone;
      clearTimeout(late);
    },
  };
}
