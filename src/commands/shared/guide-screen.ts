import { EXIT_CODE } from '../../errors.js';
import type { GuideReport } from '../../guide/report.js';
import type { GuideClient } from './guide-client.js';

/** Prompts on a terminal: one line a move, under it a bar that is redrawn. Plain lines where there is no terminal. */

const POLL_MS = 60;
const BAR_CELLS = 30;
const COLUMNS = 80;
const KEYS = 'Enter: go on   q: give up';

/** `[#####.....]`, and what the keys do. */
export function progressLine({ part, bar }: { part: number; bar?: number }): string {
  const value = bar ?? part;
  const filled = Math.round(Math.min(1, Math.max(0, value)) * BAR_CELLS);
  const text = bar === undefined ? '' : bar > 0 ? ' closed so far' : ' not yet';
  return `  [${'#'.repeat(filled)}${'.'.repeat(BAR_CELLS - filled)}]${text.padEnd(15)} ${KEYS}`;
}

/** `3/11  Make a fist.` */
export const moveLine = ({ number, count, prompt }: NonNullable<GuideReport['move']>): string =>
  `${String(number).padStart(2)}/${count}  ${prompt}`.slice(0, COLUMNS);

/**
 * Shows the moves until the run is over; Enter goes on, q or Ctrl-C gives up.
 * @param out where the prompts go: stderr when stdout carries JSON
 */
export async function followGuide(
  client: GuideClient,
  first: GuideReport,
  out: NodeJS.WriteStream,
): Promise<GuideReport> {
  const screen = out.isTTY === true && process.env.TERM !== 'dumb';
  const keys = listenToKeys(client);
  let report = first;
  let shown = 0;
  try {
    while (report.state === 'running' && !keys.gaveUp()) {
      const { move } = report;
      if (move) {
        if (move.number !== shown) {
          if (screen && shown > 0) out.write('\r\x1b[K');
          out.write(`${moveLine(move)}\n`);
          shown = move.number;
        }
        if (screen) out.write(`\r${progressLine(move)}`);
      }
      await new Promise((resolve) => setTimeout(resolve, POLL_MS));
      report = await client.ask('GET', '/guide');
    }
    if (keys.gaveUp()) report = await client.ask('POST', '/guide/stop');
  } finally {
    if (screen) out.write('\r\x1b[K');
    keys.stop();
  }
  if (keys.gaveUp()) process.exitCode = EXIT_CODE.interrupted;
  return report;
}

interface Keys {
  gaveUp(): boolean;
  stop(): void;
}

const CTRL_C = '\x03';

/** Keys are read only from a terminal: a pipe may end at once, and its lines are not meant for us. */
function listenToKeys(client: GuideClient): Keys {
  const { stdin } = process;
  let gaveUp = false;
  const end = () => {
    gaveUp = true;
  };
  process.once('SIGINT', end);
  process.once('SIGTERM', end);
  const raw = stdin.isTTY === true;
  const take = (data: Buffer) => {
    const text = data.toString();
    if (text.includes(CTRL_C) || /q/i.test(text)) gaveUp = true;
    else if (/[\r\n ]/.test(text)) void client.ask('POST', '/guide/next').catch(() => {});
  };
  if (raw) {
    stdin.setRawMode(true);
    stdin.resume();
    stdin.on('data', take);
  }
  return {
    gaveUp: () => gaveUp,
    stop() {
      process.removeListener('SIGINT', end);
      process.removeListener('SIGTERM', end);
      if (!raw) return;
      stdin.off('data', take);
      stdin.setRawMode(false);
      stdin.pause();
    },
  };
}

/** One key from the terminal: true for Enter, false for q or Ctrl-C; other keys are passed over. @param signal ends it: false */
export function waitForKey(signal?: AbortSignal): Promise<boolean> {
  const { stdin } = process;
  return new Promise((resolve) => {
    const end = (answer: boolean) => {
      stdin.off('data', take);
      stdin.setRawMode(false);
      stdin.pause();
      resolve(answer);
    };
    const take = (data: Buffer) => {
      const text = data.toString();
      const no = text.includes(CTRL_C) || /[qn]/i.test(text);
      if (!no && !/[\r\ny]/i.test(text)) return;
      end(!no);
    };
    signal?.addEventListener('abort', () => end(false), { once: true });
    stdin.setRawMode(true);
    stdin.resume();
    stdin.on('data', take);
  });
}
