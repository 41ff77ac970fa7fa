import { basename, extname } from 'node:path';
import type { Logger } from 'pino';
import { type Clock, systemClock } from '../clock.js';
import type { Profile } from '../config/schema.js';
import type { TautlineError } from '../errors.js';
import type { Glove } from '../glove/view.js';
import { logEvent } from '../log/events.js';
import { requireDiskSpace } from './disk-space.js';
import { type FileSink, type FileSinkOptions, openFileSink } from './file-sink.js';
import { SESSION_VERSION } from './format.js';
import { type GloveRecorder, recordGlove } from './glove-recorder.js';
import { writeState } from './glove-records.js';
import { createSessionWriter, type SessionWriter } from './session-writer.js';

/**
 * Records gloves into a session file while they run. What arrives is copied into the open chunk; twice a second the
 * chunk is written to disk in the background. So a kill costs half a second at most, a power cut also what the disk
 * had not written yet.
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
  /** Why it ended on its own. */
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
  /** Called when the recording ends on its own. */
  failed?: (error: TautlineError) => void;
  /** Where the files go instead of the disk. */
  open?: (file: string, options: FileSinkOptions) => Promise<FileSink>;
}

export const FLUSH_MS = 500;
/** The index in memory grows with the file, by some 200 bytes a second, so the length of a part is limited. */
const DEFAULT_MAX_SECONDS = 12 * 3600;
const DEFAULT_MAX_BYTES = 2 ** 31;
const MAX_MARK = 1000;

/** Resolves when the start of the file is on the disk.
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
  const recorders: GloveRecorder[] = [];
  let cancelFlush = (): void => {};
  let starting = true;
  let partBeganUs = beganUs;
  let bytesOfClosed = 0;
  if (!options.open) await requireDiskSpace(file);
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

  /** Begins the next file. Its first bytes wait until it exists: a few chunks at most. */
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
    // Whoever is starting it gets the error itself.
    if (starting) return;
    logEvent(logger, 'recording.failed', { file: status.file, code: error.code }, error.line);
    options.failed?.(error);
  }

  function detach(): void {
    cancelFlush();
    for (const recorder of recorders) recorder.stop();
  }

  function update(): void {
    status.bytes = bytesOfClosed + writer.bytes;
    status.seconds = (clock.nowUs() - beganUs) / 1e6;
  }

  function flush(): void {
    cancelFlush = clock.after(FLUSH_MS, flush);
    for (const recorder of recorders) recorder.flush();
    writer.flush();
    update();
    const full = writer.bytes >= maxBytes || clock.nowUs() - partBeganUs >= maxSeconds * 1e6;
    // A disk that has not even created the last part yet gets no further one.
    if (full && !held) nextPart();
  }

  for (const glove of gloves) recorders.push(recordGlove(glove, () => writer, clock, joints));
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
        for (const recorder of recorders) recorder.flush();
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

/** A session is made to be passed on. */
export function withoutSecrets({ fleet: _, ...profile }: Profile): Profile {
  const { token: __, tokenFile: ___, permissions, ...stream } = profile.stream;
  const apps = permissions.apps.map(({ token: ____, ...app }) => app);
  return { ...profile, stream: { ...stream, permissions: { ...permissions, apps } } };
}

/** `morning.mcap`, `morning.002.mcap`, ... */
export function partName(file: string, part: number): string {
  if (part === 1) return file;
  const extension = extname(basename(file));
  const stem = extension ? file.slice(0, -extension.length) : file;
  return `${stem}.${String(part).padStart(3, '0')}${extension}`;
}
