import { type ChildProcess, spawn } from 'node:child_process';
import type { Logger } from 'pino';

/**
 * Tells systemd that the service is ready and alive (sd_notify(3)). The protocol is a datagram to a Unix socket,
 * which Node cannot send; a small shell beside the service passes lines on to `systemd-notify`. It is started once,
 * so that no frame waits for a process to be forked.
 */
export interface Notifier {
  ready(status: string): void;
  stopping(): void;
}

const LOOP = 'while IFS= read -r line; do systemd-notify "$line" || exit 1; done';

/** Undefined where nobody waits for it. */
export function createNotifier(logger: Logger, env: NodeJS.ProcessEnv = process.env): Notifier | undefined {
  if (!env.NOTIFY_SOCKET || process.platform !== 'linux') return undefined;
  const watchdogMs = Number(env.WATCHDOG_USEC ?? 0) / 1000;
  const child: ChildProcess = spawn('/bin/sh', ['-c', LOOP], { stdio: ['pipe', 'ignore', 'ignore'], env });
  let timer: ReturnType<typeof setInterval> | undefined;
  const say = (line: string): void => {
    if (child.stdin?.writable) child.stdin.write(`${line}\n`);
  };
  child.stdin?.on('error', () => {});
  child.once('error', (error) => logger.warn(`systemd is not told: ${error.message}`));
  child.once('exit', (code) => {
    clearInterval(timer);
    if (code !== 0 && code !== null) logger.warn('systemd is not told: systemd-notify failed');
  });
  child.unref();
  (child.stdin as unknown as { unref?: () => void } | null)?.unref?.();
  return {
    ready(status) {
      say(`READY=1`);
      say(`STATUS=${status.replace(/[\r\n]+/g, ' ')}`);
      if (!(watchdogMs > 0) || timer) return;
      // From this process's own loop: where it hangs, nothing is said, and systemd starts the service anew.
      // Three times in each period, so that one late look is not the end.
      timer = setInterval(() => say('WATCHDOG=1'), watchdogMs / 3);
      timer.unref();
    },
    stopping() {
      clearInterval(timer);
      say('STOPPING=1');
      child.stdin?.end();
    },
  };
}
