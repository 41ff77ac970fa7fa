import { createInterface } from 'node:readline';
import type { Command } from 'commander';
import { TautlineError } from '../errors.js';
import { logEvent } from '../log/events.js';
import { keepRunning } from './shared/lifetime.js';
import { positive } from './shared/numbers.js';
import {
  answerIn,
  refusal,
  requestHeaders,
  type ServiceOptions,
  serviceUrl,
  tokenOption,
  unreachable,
  urlOption,
} from './shared/service-url.js';

interface RecordOptions extends ServiceOptions {
  profile?: string;
  joints?: boolean;
  seconds?: number;
  maxMb?: number;
  maxMinutes?: number;
}

/** What both ways of recording give the command. */
interface Recording {
  mark(text: string): Promise<void>;
  /** Resolves with what is to be said, when all is on the disk. */
  stop(): Promise<string>;
}

export function addRecordCommand(program: Command): void {
  program
    .command('record')
    .description('Record a session into FILE: from the running service, or by itself with --profile.')
    .argument('<file>', 'file to write, such as morning.mcap')
    .option('--profile <file>', 'open the gloves of this profile, without a service')
    .option('--joints', 'record the computed joints, too (large; for --compare)')
    .option('--seconds <n>', 'end after this time', positive)
    .option('--max-mb <n>', 'begin another file at this size (with --profile)', positive)
    .option('--max-minutes <n>', 'begin another file after this time (with --profile)', positive)
    .addOption(urlOption())
    .addOption(tokenOption())
    .addHelpText(
      'after',
      '\nExample:\n  tautline record morning.mcap\n\nEvery line that you type is noted in the session. Ctrl-C ends it. If it is killed, at most one second is lost.',
    )
    .action(record);
}

async function record(file: string, options: RecordOptions): Promise<void> {
  const { createLogger } = await import('../log/logger.js');
  const logger = createLogger('warn');
  let fail = (_: TautlineError): void => {};
  const failed = new Promise<never>((_, reject) => {
    fail = reject;
  });
  failed.catch(() => {});
  let stopping: Promise<void> | undefined;
  await keepRunning(logger, async () => {
    const start = options.profile === undefined ? recordService : recordByItself;
    const recording = await start(file, options, (error) => fail(error));
    console.log(`Recording into ${file}. Type a line to note it; Ctrl-C ends.`);
    // Without input at all (a service, a closed pipe) it records just the same.
    const lines = createInterface({ input: process.stdin });
    lines.on('line', (text) => {
      if (text.trim() !== '')
        recording
          .mark(text.trim())
          .catch((error) => logEvent(logger, 'recording.markFailed', {}, String(error.message)));
    });
    const stop = (): Promise<void> => {
      lines.close();
      stopping ??= recording.stop().then((said) => console.log(said));
      return stopping;
    };
    if (options.seconds !== undefined) {
      setTimeout(() => void process.emit('SIGTERM', 'SIGTERM'), options.seconds * 1000).unref();
    }
    failed.catch(async (error: TautlineError) => {
      await stop().catch(() => {});
      process.stderr.write(`tautline: ${error.line}\n`);
      const { exitCodeOf } = await import('./failure.js');
      process.exit(exitCodeOf(error));
    });
    return { close: stop };
  });
}

async function recordByItself(
  file: string,
  { profile: profileFile, joints, maxMb, maxMinutes }: RecordOptions,
  failed: (error: TautlineError) => void,
): Promise<Recording> {
  const [{ loadProfile }, { createGloves }, { startRecorder }, { version }, { createLogger }] =
    await Promise.all([
      import('../config/load.js'),
      import('../glove/create-gloves.js'),
      import('../recording/recorder.js'),
      import('../install/version.js'),
      import('../log/logger.js'),
    ]);
  const profile = await loadProfile(profileFile!);
  const logger = createLogger('warn');
  const gloves = createGloves({ profile, logger });
  const recorder = await startRecorder({
    file,
    gloves,
    profile,
    // Its end is said by the command itself, once.
    logger: logger.child({}, { level: 'silent' }),
    version,
    joints,
    failed,
    ...(maxMb === undefined ? {} : { maxBytes: maxMb * 1e6 }),
    ...(maxMinutes === undefined ? {} : { maxSeconds: maxMinutes * 60 }),
  });
  // From the first byte on: the recorder listens before any link is open.
  for (const glove of gloves) glove.start();
  return {
    mark: async (text) => recorder.mark(text),
    async stop() {
      await Promise.allSettled(gloves.map((glove) => glove.close()));
      const { parts, bytes, seconds } = await recorder.stop();
      return said(file, parts, bytes, seconds);
    },
  };
}

/** The service sends the session as it is recorded, so that it needs no right to write here, nor we its disk. */
async function recordService(
  file: string,
  { url: text, token, joints, maxMb, maxMinutes }: RecordOptions,
  failed: (error: TautlineError) => void,
): Promise<Recording> {
  if (maxMb !== undefined || maxMinutes !== undefined) {
    throw new TautlineError('usage', '--max-mb and --max-minutes need --profile.', 'Use --seconds here.');
  }
  const [{ openFileSink }, { requireDiskSpace }] = await Promise.all([
    import('../recording/file-sink.js'),
    import('../recording/disk-space.js'),
  ]);
  await requireDiskSpace(file);
  const url = serviceUrl(text, 'http', '/record/stream');
  if (joints) url.searchParams.set('joints', '1');
  const headers = requestHeaders(url, token);
  const connection = new AbortController();
  const response = await fetch(url, { headers, signal: connection.signal }).catch((error) => {
    throw unreachable(url, error);
  });
  if (!response.ok || !response.body)
    throw refusal(url, response.status, answerIn(await response.text().catch(() => '')));
  const sink = await openFileSink(file, { failed }).catch((error) => {
    connection.abort();
    throw error;
  });
  const beganMs = performance.now();
  let bytes = 0;
  let stopping = false;
  const reading = (async () => {
    try {
      for await (const chunk of response.body as unknown as AsyncIterable<Uint8Array>) {
        bytes += chunk.length;
        sink.write(chunk);
      }
    } catch {
      // Whoever ended it, what came is in the file.
    }
    if (!stopping) {
      failed(new TautlineError('serviceUnreachable', `${url.host}: the service ended the recording.`));
    }
  })();
  return {
    async mark(text) {
      const to = serviceUrl(url.origin, 'http', '/record/mark');
      to.searchParams.set('text', text);
      await fetch(to, { method: 'POST', headers });
    },
    async stop() {
      stopping = true;
      const to = serviceUrl(url.origin, 'http', '/record/stream/stop');
      // The service ends the file with its index; if it cannot, the file is whole but for that.
      await fetch(to, { method: 'POST', headers, signal: AbortSignal.timeout(2000) }).catch(() =>
        connection.abort(),
      );
      await reading;
      await sink.close();
      return said(file, 1, bytes, (performance.now() - beganMs) / 1000);
    },
  };
}

const said = (file: string, parts: number, bytes: number, seconds: number): string =>
  `${file}: ${seconds.toFixed(1)} s, ${(bytes / 1e6).toFixed(2)} MB${parts > 1 ? ` in ${parts} files` : ''}`;
