import { existsSync } from 'node:fs';
import { mkdir, readdir, stat, unlink } from 'node:fs/promises';
import { join } from 'node:path';
import type { Logger } from 'pino';
import type { Profile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import { createGlove, type LiveGlove } from '../glove/glove.js';
import { prepareWornHand } from '../glove/hand-models.js';
import type { HandSide } from '../hand/joints.js';
import { codecOf } from '../link/codec-of.js';
import { inTimeSlices } from '../time-slices.js';
import { prepareChecksSteps } from './body-checks.js';
import { writeError } from './file-sink.js';
import { createPlayer, type Player, type PlayerState } from './player.js';
import { type Recorder, type RecorderStatus, startRecorder } from './recorder.js';
import { createReplayLink, type ReplayLink } from './replay-link.js';
import { openSession, type Session } from './session.js';
import type { ShownGlove } from './shown-glove.js';
import { prepareStandIns, type StandIns } from './stand-in.js';

/** The sessions of a service: what it records into its folder, and what it replays instead of its gloves. */
export interface Sessions {
  readonly shown: readonly ShownGlove[];
  list(): Promise<SessionList>;
  /** @param name of the file, without a folder; made from the time when undefined */
  record(name: string | undefined, joints: boolean): Promise<RecorderStatus>;
  /** A recorder of this service that writes elsewhere; the caller stops it. */
  recordTo(options: Pick<Parameters<typeof startRecorder>[0], 'file' | 'open' | 'joints'>): Promise<Recorder>;
  mark(text: string): RecorderStatus;
  stop(): Promise<RecorderStatus>;
  /** Path of a session in the folder. Plain files only: opening anything else could block. */
  existing(name: string): Promise<string>;
  remove(name: string): Promise<void>;
  /** @param name of a session in the folder, or of one that comes with the program */
  open(name: string, options: ReplayOptions): Promise<PlayerState>;
  readonly player: Player;
  /** Shows simulated gloves in place of those that are not there. */
  simulate(): Promise<void>;
  /** Shows the gloves themselves again. */
  closeReplay(): Promise<void>;
  close(): Promise<void>;
}

export interface ReplayOptions {
  speed?: number;
  fromS?: number;
  toS?: number;
  loop?: boolean;
  /** Of those that come with the program. */
  example?: boolean;
}

export interface SessionList {
  folder: string | undefined;
  /** `simulated`: it is of the simulated gloves that were shown when it began, and ends with them. */
  recording: (Omit<RecorderStatus, 'failure'> & { failure?: string; simulated?: true }) | undefined;
  replay: (PlayerState & { name: string }) | undefined;
  sessions: { name: string; bytes: number; modifiedAt: string }[];
  /** Those that come with the program. */
  examples: string[];
  /** Simulated gloves are shown in place of those that are not there. */
  simulated: boolean;
}

export interface SessionsOptions {
  folder: string | undefined;
  /** Where the sessions are that come with the program; none: there are none. */
  examplesFolder?: string;
  shown: readonly ShownGlove[];
  profile: Profile;
  logger: Logger;
  version: string;
}

/** Plain names only: no folder, no hidden file, nothing with a special meaning to a shell or a system. */
const NAME = /^[A-Za-z0-9][A-Za-z0-9 ._-]{0,99}\.mcap$/;
const WINDOWS_DEVICES = /^(con|prn|aux|nul|com\d|lpt\d)\./i;

export function createSessions(options: SessionsOptions): Sessions {
  const { folder, examplesFolder, shown, profile, logger, version } = options;
  let recorder: Recorder | undefined;
  let starting = false;
  let closed = false;
  const guests = new Set<Recorder>();
  let standIns: StandIns | undefined;
  /** Recorders of simulated gloves that are shown now. */
  const ofStandIns = new Set<Recorder>();
  const simulatedOnes = new WeakSet<Recorder>();
  let replay: { name: string; session: Session; player: Player; gloves: LiveGlove[] } | undefined;

  function requireFolder(): string {
    if (folder !== undefined) return folder;
    throw new TautlineError(
      'notSupported',
      'This service keeps no sessions.',
      'Start it with --sessions FOLDER.',
    );
  }

  function requireName(name: string): void {
    if (!NAME.test(name) || name.includes('..') || WINDOWS_DEVICES.test(name)) {
      throw new TautlineError(
        'badMessage',
        `"${name.slice(0, 100)}" is not a name for a session.`,
        'Use letters, digits, space, dot, dash and underscore, and end it with .mcap.',
      );
    }
  }

  function path(name: string): string {
    requireName(name);
    return join(requireFolder(), name);
  }

  async function existing(name: string, inFolder?: string): Promise<string> {
    requireName(name);
    const file = inFolder === undefined ? path(name) : join(inFolder, name);
    const found = await stat(file).catch(() => undefined);
    if (!found?.isFile()) throw new TautlineError('fileNotFound', `There is no session ${name}.`);
    return file;
  }

  async function closeReplay(): Promise<void> {
    const open = replay;
    replay = undefined;
    const stood = standIns;
    standIns = undefined;
    const ending = [...ofStandIns].map((each) => each.stop());
    ofStandIns.clear();
    if (stood) {
      for (const glove of shown) glove.show(undefined);
      await Promise.allSettled(ending);
      await Promise.all(stood.live.map((glove) => glove.close()));
    }
    if (!open) return;
    open.player.close();
    for (const glove of shown) glove.show(undefined);
    await Promise.all(open.gloves.map((glove) => glove.close()));
    open.session.close();
  }

  /** Records the gloves, or the simulated ones that are shown in their place; a replay is recorded already. */
  async function recordShown(
    wanted: Pick<Parameters<typeof startRecorder>[0], 'file' | 'open' | 'joints'>,
  ): Promise<Recorder> {
    const from = standIns;
    const gloves = from?.live ?? shown.map(({ live }) => live);
    const started = await startRecorder({
      ...wanted,
      gloves,
      profile: from?.profile ?? profile,
      logger,
      version,
    });
    if (!from) return started;
    // They may have gone while the file was created.
    if (standIns === from) ofStandIns.add(started);
    else await started.stop();
    simulatedOnes.add(started);
    return started;
  }

  const requireRecorder = (): Recorder => {
    if (recorder) return recorder;
    throw new TautlineError('notSupported', 'Nothing is being recorded.', 'Start with POST /record.');
  };

  return {
    shown,
    existing: (name) => existing(name),
    async list() {
      const sessions = folder === undefined ? [] : await sessionsIn(folder);
      const recording = recorder?.status;
      return {
        folder,
        recording: recording && {
          ...recording,
          failure: recording.failure?.line,
          ...(recorder && simulatedOnes.has(recorder) ? { simulated: true } : {}),
        },
        replay: replay && { name: replay.name, ...replay.player.state },
        sessions,
        examples:
          examplesFolder === undefined ? [] : (await sessionsIn(examplesFolder)).map(({ name }) => name),
        simulated: standIns !== undefined,
      };
    },
    async record(name, joints) {
      if (starting || recorder?.status.running) {
        throw new TautlineError(
          'tooMany',
          'A recording is running already.',
          'Stop it first: POST /record/stop.',
        );
      }
      const file = path(name ?? freeName(requireFolder(), nameFor(new Date())));
      starting = true;
      try {
        await mkdir(requireFolder(), { recursive: true }).catch((error) => {
          throw writeError(requireFolder(), error, true);
        });
        await recorder?.stop();
        recorder = undefined;
        recorder = await recordShown({ file, joints });
        return recorder.status;
      } finally {
        starting = false;
      }
    },
    async recordTo(wanted) {
      const guest = await recordShown(wanted);
      guests.add(guest);
      return {
        get status() {
          return guest.status;
        },
        mark: guest.mark,
        stop() {
          guests.delete(guest);
          return guest.stop();
        },
      };
    },
    mark(text) {
      const running = [...(recorder?.status.running ? [recorder] : []), ...guests];
      if (running.length === 0) return requireRecorder().status;
      for (const each of running) each.mark(text);
      return running[0].status;
    },
    async stop() {
      const { failure, ...status } = await requireRecorder().stop();
      recorder = undefined;
      if (failure) throw failure;
      return status;
    },
    async remove(name) {
      const file = path(name);
      if (recorder?.status.running && recorder.status.file === file) {
        throw new TautlineError('notPermitted', `${name} is being recorded.`, 'Stop the recording first.');
      }
      if (replay?.name === name) {
        throw new TautlineError('notPermitted', `${name} is being replayed.`, 'Close the replay first.');
      }
      await unlink(file).catch((error: NodeJS.ErrnoException) => {
        if (error.code === 'ENOENT') throw new TautlineError('fileNotFound', `There is no session ${name}.`);
        throw writeError(file, error);
      });
    },
    async open(name, { speed = 1, example = false, ...range }) {
      const file = await existing(name, example ? examplesFolder : undefined);
      await inTimeSlices(prepareChecksSteps());
      const session = openSession(file);
      try {
        await prepareHands(session);
        if (closed) throw new TautlineError('notSupported', 'The service is stopping.');
      } catch (error) {
        session.close();
        throw error;
      }
      const links = new Map<HandSide, ReplayLink>();
      const gloves: LiveGlove[] = [];
      void closeReplay();
      for (const place of shown) {
        const glove = session.profile.gloves.find(
          ({ hand }) => hand === place.live.description.hand && session.hands.includes(hand),
        );
        if (!glove) continue;
        const link = createReplayLink({ hand: glove.hand, name, frames: glove.codec.kind === 'frames' });
        const chain = createGlove({ profile: session.profile, glove, link, codec: codecOf(glove), logger });
        links.set(glove.hand, link);
        gloves.push(chain);
        chain.start();
        place.show(chain);
      }
      if (gloves.length === 0) {
        session.close();
        throw new TautlineError(
          'unknownHand',
          `${name} has no hand that this service has a glove for (${session.hands.join(', ') || 'none'}).`,
          'Replay it by itself: tautline replay FILE.',
        );
      }
      const player = createPlayer({ session, links, speed, ...range });
      replay = { name, session, player, gloves };
      player.play();
      return player.state;
    },
    get player() {
      if (replay) return replay.player;
      throw new TautlineError('notSupported', 'No session is open.', 'Open one with POST /replay?name=NAME.');
    },
    async simulate() {
      const showThem = await prepareStandIns(shown, profile, logger);
      if (closed) throw new TautlineError('notSupported', 'The service is stopping.');
      void closeReplay();
      standIns = showThem();
    },
    closeReplay,
    async close() {
      closed = true;
      await closeReplay();
      await Promise.allSettled([recorder?.stop(), ...[...guests].map((guest) => guest.stop())]);
    },
  };
}

/** Session files of a folder, by name; none where it cannot be read. */
async function sessionsIn(folder: string): Promise<SessionList['sessions']> {
  const names = await readdir(folder).catch(() => []);
  const sessions: SessionList['sessions'] = [];
  for (const name of names.filter((name) => NAME.test(name)).sort()) {
    const file = await stat(join(folder, name)).catch(() => undefined);
    if (file?.isFile()) sessions.push({ name, bytes: file.size, modifiedAt: file.mtime.toISOString() });
  }
  return sessions;
}

/** The live gloves are not kept waiting while the hands of a session are worked out. */
export async function prepareHands({ profile, hands, stateAt, endUs }: Session): Promise<void> {
  for (const hand of hands) {
    const fitted = stateAt(hand, endUs).fits?.fits.find((fit) => fit.skeleton)?.skeleton;
    await prepareWornHand(hand, profile.wearer);
    if (fitted) await prepareWornHand(hand, profile.wearer, fitted);
  }
}

/** The name, or `NAME-2.mcap` and so on where another session of the same second has it. */
function freeName(folder: string, name: string): string {
  const stem = name.slice(0, -'.mcap'.length);
  let free = name;
  for (let number = 2; existsSync(join(folder, free)); number++) free = `${stem}-${number}.mcap`;
  return free;
}

/** `session-2031-05-06-070809.mcap`, in local time. */
export function nameFor(now: Date): string {
  const two = (n: number) => String(n).padStart(2, '0');
  const day = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  return `session-${day}-${two(now.getHours())}${two(now.getMinutes())}${two(now.getSeconds())}.mcap`;
}
