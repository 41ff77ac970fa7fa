import type { Logger } from 'pino';
import { EXIT_CODE } from '../../errors.js';
import { logEvent } from '../../log/events.js';

/** Closing frees the fingers first, then ports and sockets; what hangs longer than this is left behind. */
const CLOSE_WITHIN_MS = 3000;
const SIGNALS: NodeJS.Signals[] = ['SIGINT', 'SIGTERM', 'SIGHUP'];
if (process.platform === 'win32') SIGNALS.push('SIGBREAK');

interface Closable {
  close(): Promise<void>;
}

/**
 * Starts what holds fingers and keeps it until a signal or a fault. Either closes it, so that every finger is
 * freed, and ends the process: with code 0 after a signal, at once after a second one, with 70 after a fault.
 * Resolves when started; rejects when the start fails.
 */
export async function keepRunning(logger: Logger, start: () => Promise<Closable>): Promise<void> {
  let started: Promise<Closable> | undefined;
  let ending = false;
  const end = async (code: number): Promise<void> => {
    ending = true;
    setTimeout(() => {
      logEvent(logger, 'service.closeSlow', {});
      process.exit(EXIT_CODE.internal);
    }, CLOSE_WITHIN_MS);
    try {
      // A signal may come during the start: what is half open is closed when it is whole.
      const running = await started?.catch(() => undefined);
      await running?.close();
      process.exit(code);
    } catch (error) {
      logEvent(logger, 'service.closeFailed', {}, `closing failed: ${messageOf(error)}`);
      process.exit(EXIT_CODE.internal);
    }
  };

  for (const signal of SIGNALS) {
    process.on(signal, () => {
      if (ending) process.exit(EXIT_CODE.interrupted);
      logEvent(logger, 'service.ending', { signal }, `${signal}: ending`);
      void end(EXIT_CODE.ok);
    });
  }
  let faulted = false;
  const fault = (error: unknown): void => {
    if (faulted) return;
    faulted = true;
    process.stderr.write(
      `tautline: A fault in the program: ${messageOf(error)}. Freeing every finger, then ending.\n`,
    );
    logEvent(logger, 'service.fault', { err: error });
    if (!ending) void end(EXIT_CODE.internal);
  };
  process.on('uncaughtException', fault);
  process.on('unhandledRejection', fault);

  started = start();
  try {
    await started;
  } catch (error) {
    // While ending, the end decides the exit code.
    if (!ending) throw error;
  }
}

const messageOf = (error: unknown) =>
  (error instanceof Error ? error.message : String(error)).replace(/\s*[\r\n]+\s*/g, ' ');
