import { basename, extname } from 'node:path';
import type { Logger } from 'pino';
import { type Clock, systemClock } from '../clock.js';
import type { Profile } from '../config/schema.js';
import type { TautlineError } from '../errors.js';
import type { Glove, HandFrame } from '../glove/view.js';
import type { HandSide } from '../hand/joints.js';
import { logEvent } from '../log/events.js';
import { encodeJointsBinary } from '../stream/encode-binary.js';
import { type FileSink, type FileSinkOptions, openFileSink } from './file-sink.js';
import { SESSION_VERSION } from './format.js';
import { requireRoom } from './room.js';
import { createSessionWriter, type SessionWriter } from './session-writer.js';

/**
 * Records gloves into a session file while they run. What comes in is copied into the open chunk; twice a second
 * the chunk is handed to the disk, behind the gloves' back. So a kill costs half a second at most, and a power
 * cut what the disk takes besides.
 */
export interface Recorder {
  readonly status: RecorderStatus;
  /** A note by a person, now. */
  mark(text: string): void;
  /** Resolves when all is on the disk; also after a failure. */
  stop(): Promise<RecorderStatus>;
}

export interface RecorderStatus {
  /** The file being written, or the last one. */
  file: string;
  /** How many files so far. */
  parts: number;
  /** Over all parts. */
  bytes: number;
  seconds: number;
  marks: number;
  running: boolean;
  /** Why it ended by itself. */
  failure?: TautlineError;
}

export interface RecorderOptions {
  file: string;
  gloves: readonly Glove[];
  profile: Profile;
  logger: Logger;
  /** Version of the program. */
  version: string;
  /** Record computed poses, too. */
  joints?: boolean;
  /** A new file is begun at this size... */
  maxBytes?: number;
  /** ...and after this time. */
  maxSeconds?: number;
  clock?: Clock;
  /** ns since 1970 now. */
  wallNs?: () => bigint;
  /** Called when the recording ends by itself. */
  failed?: (error: TautlineError) => void;
  /** Where the files go, if not to the disk. */
  open?: (file: string, options: FileSinkOptions) => Promise<FileSink>;
}

export const FLUSH_MS = 500;
/** The index that is kept in memory grows with the file, by some 200 bytes a second: so a part may not last forever. */
const DEFAULT_MAX_SECONDS = 12 * 3600;
const DEFAULT_MAX_BYTES = 2 ** 31;
const HEALTH_US = 200_000;
const RESISTANCE_US = 16_000;
/** Whoever begins in between is off by what was followed since: by 4 % of a range at most. */
const DRIFT_US = 10_000_000;
const MAX_MARK = 1000;

/** Gloves that report at most so often; what is left over is written with the next flush. */
interface Throttled {
  writtenUs: number;
  waiting: boolean;
}

/**
 * Resolves when the file's beginning is on the disk.
 * @throws TautlineError when the file cannot be created, or its disk is full; there is no file then
 */
export async function startRecorder(options: RecorderOptions): Promise<Recorder> {
  const { file, gloves, profile, logger, version, joints = false, clock = systemClock } = options;
  const { maxBytes = DEFAULT_MAX_BYTES, maxSeconds = DEFAULT_MAX_SECONDS } = options;
  const wallNs = options.wallNs ?? (() => BigInt(Date.now()) * 1_000_000n);
  const beganUs = clock.nowUs();
  const epochNs = wallNs() - BigInt(Math.round(beganUs * 1000));
  const recordedProfile = withoutSecrets(profile);
  const status: RecorderStatus = { file, parts: 1, bytes: 0, seconds: 0, marks: 0, running: true };
  const unlisten: (() => void)[] = [];
  const due: (() => void)[] = [];
  let cancelFlush = (): void => {};
  let starting = true;
  let partBeganUs = beganUs;
  let bytesOfClosed = 0;
  if (!options.open) await requireRoom(file);
  let sink = await openSink(file);
  let opening: Promise<void> | undefined;
  /** Pieces of the new part while its file is being created. */
  let held: Uint8Array[] | undefined;
  const closing: Promise<void>[] = [];
  let writer = beginPart();

  function openSink(path: string): Promise<FileSink> {
    return (options.open ?? openFileSink)(path, { failed: fail });
  }

  function beginPart(): SessionWriter {
    const timeUs = clock.nowUs();
    partBeganUs = timeUs;
    const begun = createSessionWriter((bytes) => (held ? void held.push(bytes) : sink.write(bytes)), {
      session: SESSION_VERSION,
      program: version,
      startedAt: new Date(Number((epochNs + BigInt(Math.round(timeUs * 1000))) / 1_000_000n)).toISOString(),
      timeUs,
      epochNs: String(epochNs),
      part: status.parts,
      hands: gloves.map(({ description }) => description.hand),
      joints,
    });
    begun.json(undefined, 'profile', timeUs, recordedProfile);
    for (const glove of gloves) writeState(begun, glove, timeUs);
    return begun;
  }

  /** Whatever is needed to understand what follows. */
  function writeState(to: SessionWriter, glove: Glove, timeUs: number): void {
    writeGlove(to, glove, timeUs);
    writeFits(to, glove, timeUs);
    const { state } = glove.linkStatus;
    writeStatus(to, glove, timeUs, state, undefined, state === 'live');
    writeDrift(to, glove, timeUs);
    to.json(glove.description.hand, 'health', timeUs, { type: 'health', ...glove.readHealth() });
  }

  /** Begins the next file. Until it exists its first bytes wait, at most some chunks. */
  function nextPart(): void {
    writer.end();
    bytesOfClosed += writer.bytes;
    const old = sink;
    closing.push(old.close());
    held = [];
    status.parts++;
    status.file = partName(file, status.parts);
    writer = beginPart();
    opening = openSink(status.file).then(
      (next) => {
        sink = next;
        for (const bytes of held ?? []) sink.write(bytes);
        held = undefined;
      },
      (error: TautlineError) => fail(error),
    );
  }

  function fail(error: TautlineError): void {
    if (status.failure) return;
    status.failure = error;
    status.running = false;
    detach();
    // Whoever starts it hears of it at once.
    if (starting) return;
    logEvent(logger, 'recording.failed', { file: status.file, code: error.code }, error.line);
    options.failed?.(error);
  }

  function detach(): void {
    cancelFlush();
    for (const forget of unlisten) forget();
    unlisten.length = 0;
  }

  function update(): void {
    status.bytes = bytesOfClosed + writer.bytes;
    status.seconds = (clock.nowUs() - beganUs) / 1e6;
  }

  function flush(): void {
    cancelFlush = clock.after(FLUSH_MS, flush);
    for (const write of due) write();
    writer.flush();
    update();
    const full = writer.bytes >= maxBytes || clock.nowUs() - partBeganUs >= maxSeconds * 1e6;
    // A disk that has not even created the last part yet gets no further one.
    if (full && !held) nextPart();
  }

  function follow(glove: Glove): void {
    const hand = (): HandSide => glove.description.hand;
    const since = { event: 0 };
    glove.recordResistance(since);
    const health: Throttled = { writtenUs: 0, waiting: false };
    const drift: Throttled = { writtenUs: clock.nowUs(), waiting: false };
    const resistance: Throttled = { writtenUs: 0, waiting: false };
    let told = statusKey(glove);
    let valid = glove.frame.valid;
    let seq = 0;

    const throttled = (state: Throttled, periodUs: number, write: (timeUs: number) => void) => {
      const maybe = (): void => {
        const nowUs = clock.nowUs();
        state.waiting = nowUs - state.writtenUs < periodUs;
        if (state.waiting) return;
        state.writtenUs = nowUs;
        write(nowUs);
      };
      due.push(() => {
        if (state.waiting) maybe();
      });
      return maybe;
    };
    const writeHealth = throttled(health, HEALTH_US, (timeUs) =>
      writer.json(hand(), 'health', timeUs, { type: 'health', ...glove.readHealth() }),
    );
    const writeResistance = throttled(resistance, RESISTANCE_US, (timeUs) =>
      writer.json(hand(), 'resistance', timeUs, { type: 'resistance', ...glove.recordResistance(since) }),
    );
    const writeDrifts = throttled(drift, DRIFT_US, (timeUs) => writeDrift(writer, glove, timeUs));
    const pose = Buffer.alloc(4096);

    unlisten.push(
      glove.listen({
        bytes: (chunk, arrivalUs) => writer.link(hand(), 'received', arrivalUs, chunk),
        sent: (bytes, timeUs) => writer.link(hand(), 'sent', timeUs, bytes),
        frame(frame) {
          if (valid && !frame.valid) writeStatus(writer, glove, clock.nowUs(), 'silent', frame.reason);
          valid = frame.valid;
          if (joints) writeJoints(frame, seq++);
        },
        described() {
          const timeUs = clock.nowUs();
          writeGlove(writer, glove, timeUs);
          writeFits(writer, glove, timeUs);
        },
        health() {
          const key = statusKey(glove);
          if (key !== told) {
            told = key;
            writeStatus(writer, glove, clock.nowUs(), glove.linkStatus.state);
          }
          writeHealth();
          writeDrifts();
        },
        resistance: writeResistance,
        asked(app, request, refusal) {
          const timeUs = clock.nowUs();
          writer.json(hand(), 'request', timeUs, { timeUs, app, request, ...(refusal ? { refusal } : {}) });
          if (request.type === 'rezero') writeDrift(writer, glove, timeUs);
        },
      }),
    );

    function writeJoints(frame: HandFrame, number: number): void {
      const end = encodeJointsBinary(pose, 0, {
        hand: hand(),
        seq: number >>> 0,
        timeUs: frame.timeUs,
        space: frame.space,
        valid: frame.valid,
        reason: frame.reason,
        fingerStates: frame.fingerStates,
        poses: frame.poses,
        velocities: undefined,
      });
      // Beside the bytes that it comes from, by the time of the session rather than the sample's.
      if (end > 0) writer.joints(hand(), clock.nowUs(), pose.subarray(0, end));
    }
  }

  for (const glove of gloves) follow(glove);
  cancelFlush = clock.after(FLUSH_MS, flush);

  writer.flush();
  await sink.synced();
  if (status.failure) {
    await sink.abandon();
    throw status.failure;
  }
  starting = false;

  return {
    get status() {
      update();
      return { ...status };
    },
    mark(text) {
      if (!status.running) return;
      const timeUs = clock.nowUs();
      writer.json(undefined, 'mark', timeUs, { timeUs, text: text.slice(0, MAX_MARK) });
      status.marks++;
    },
    async stop() {
      const wasRunning = status.running;
      detach();
      update();
      status.running = false;
      if (wasRunning) {
        for (const write of due) write();
        await opening;
        writer.end();
      }
      await opening;
      await Promise.all([...closing, sink.close()]);
      status.bytes = bytesOfClosed + writer.bytes;
      return { ...status };
    },
  };
}

function writeGlove(writer: SessionWriter, { description }: Glove, timeUs: number): void {
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

function writeFits(writer: SessionWriter, { description, fitsInUse }: Glove, timeUs: number): void {
  const { channels, actuators, hand } = fitsInUse;
  const fits = [channels, actuators, hand].filter((fit) => fit !== undefined);
  writer.json(description.hand, 'fits', timeUs, { timeUs, fits });
}

function writeDrift(writer: SessionWriter, glove: Glove, timeUs: number): void {
  writer.json(glove.description.hand, 'drift', timeUs, { timeUs, memory: glove.rememberDrift() });
}

function writeStatus(
  writer: SessionWriter,
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
const statusKey = ({ linkStatus: { state, address, error } }: Glove): string =>
  `${state} ${address} ${error?.line ?? ''}`;

/** A session is made to be passed on. */
function withoutSecrets(profile: Profile): Profile {
  const { token: _, tokenFile: __, permissions, ...stream } = profile.stream;
  const apps = permissions.apps.map(({ token: ___, ...app }) => app);
  return { ...profile, stream: { ...stream, permissions: { ...permissions, apps } } };
}

/** `morning.mcap`, `morning.002.mcap`, ... */
export function partName(file: string, part: number): string {
  if (part === 1) return file;
  const extension = extname(basename(file));
  const stem = extension ? file.slice(0, -extension.length) : file;
  return `${stem}.${String(part).padStart(3, '0')}${extension}`;
}
