import { type ChildProcess, spawn } from 'node:child_process';
import type { Logger } from 'pino';
import { logEvent } from '../log/events.js';

/** Reports the state of the service to the manager that started it. */
export interface Notifier {
  /** The service answers. */
  ready(status: string): void;
  /** The service is ending on request. */
  stopping(): void;
}

/**
 * Readiness and watchdog for systemd, sd_notify(3): datagrams of `VARIABLE=value` to the socket in NOTIFY_SOCKET.
 *
 * Node has no datagram sockets but those of UDP, so systemd's own `systemd-notify` sends them. It is not started by
 * this process: forking a process of this size stops the frames for milliseconds. A shell that is started once, of
 * under 2 MB, waits for lines and forks itself; here a message costs a write to a pipe. The shell ends when its
 * input does, which is when this process ends, in whatever way.
 */
const SHELL = 'while IFS= read -r message; do systemd-notify "$message" || exit 1; done';

export interface NotifierOptions {
  logger: Logger;
  /** False: the process runs but does no work, so it is not reported as alive. */
  alive: () => boolean;
  env?: NodeJS.ProcessEnv;
  pid?: number;
}

/** Undefined when nobody listens. */
export function createNotifier(options: NotifierOptions): Notifier | undefined {
  const { logger, alive, env = process.env, pid = process.pid } = options;
  if (!env.NOTIFY_SOCKET || process.platform === 'win32') return undefined;
  let deaf = false;
  const giveUp = (why: string) => {
    if (deaf) return;
    deaf = true;
    clearInterval(timer);
    logEvent(
      logger,
      'service.notifyFailed',
      {},
      `systemd cannot be notified that the service is ready and alive: ${why}`,
    );
  };
  const shell: ChildProcess = spawn('/bin/sh', ['-c', SHELL], { env, stdio: ['pipe', 'ignore', 'ignore'] });
  shell.on('error', (error) => giveUp(error.message));
  shell.on('exit', (code) => giveUp(`systemd-notify failed (${code})`));
  shell.stdin?.on('error', () => {});
  // It ends with us; it does not keep us.
  shell.unref();
  (shell.stdin as unknown as { unref?: () => void } | null)?.unref?.();
  const say = (message: string): void => {
    if (!deaf) shell.stdin?.write(`${message}\n`);
  };

  const everyMs = watchdogMs(env, pid);
  let timer: NodeJS.Timeout | undefined;
  return {
    ready(status) {
      say('READY=1');
      say(`STATUS=${status.replace(/\s+/g, ' ')}`);
      if (everyMs === undefined || timer) return;
      timer = setInterval(() => {
        if (alive()) say('WATCHDOG=1');
        else logEvent(logger, 'service.stuck', {});
      }, everyMs);
      timer.unref();
    },
    stopping() {
      clearInterval(timer);
      say('STOPPING=1');
    },
  };
}

/**
 * A quarter of the time that systemd waits for a sign of life. sd_watchdog_enabled(3) recommends half; so a stall of the
 * whole machine, after which one look finds nothing new, is not the end.
 */
export function watchdogMs(env: NodeJS.ProcessEnv, pid: number): number | undefined {
  const waitsUs = Number(env.WATCHDOG_USEC);
  if (!(waitsUs > 0) || !Number.isFinite(waitsUs)) return undefined;
  if (env.WATCHDOG_PID && Number(env.WATCHDOG_PID) !== pid) return undefined;
  return Math.max(1, waitsUs / 4000);
}

interface Path {
  readonly frame: { readonly valid: boolean; readonly timeUs: number };
}

/**
 * Whether poses still come where they are said to. A glove that is silent is not our fault: within `staleMs` its
 * beat says that its poses are not valid. Poses that stay valid and yet the same, over two calls seconds apart, say
 * that both the samples' way and the beat that guards it have stopped.
 */
export function createLifeCheck(gloves: readonly Path[]): () => boolean {
  const before = gloves.map(() => Number.NaN);
  return () => {
    let alive = true;
    gloves.forEach(({ frame: { valid, timeUs } }, index) => {
      if (valid && timeUs === before[index]) alive = false;
      before[index] = valid ? timeUs : Number.NaN;
    });
    return alive;
  };
}
