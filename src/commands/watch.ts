import type { Command } from 'commander';
import type WebSocket from 'ws';
import { TautlineError } from '../errors.js';
import type { HandView, View } from './shared/hand-view.js';
import {
  refusal,
  type ServiceOptions,
  serviceUrl,
  tokenOption,
  unreachable,
  urlOption,
} from './shared/service-url.js';

interface WatchOptions extends ServiceOptions {
  ascii?: boolean;
  once?: boolean;
}

const RATE_HZ = 30;
const REDRAW_MS = 50;
const LINE_MS = 1000;
const RETRY_MS = 1000;
const CONNECT_WITHIN_MS = 3000;

export function addWatchCommand(program: Command): void {
  program
    .command('watch')
    .description('Show the hands on the stream of a running service: fingers, stops, inputs, rates, health.')
    .addOption(urlOption())
    .addOption(tokenOption())
    .option('--ascii', 'draw with ASCII characters only')
    .option('--once', 'print one line for each hand and end')
    .addHelpText(
      'after',
      '\nExample:\n  tautline watch --url ws://127.0.0.1:7117/stream\n\nCtrl-C ends it. Into a pipe or a file it writes one line a second for each hand. NO_COLOR takes the colours out.',
    )
    .action(watch);
}

async function watch(options: WatchOptions): Promise<void> {
  const url = serviceUrl(options.url, 'ws', '/stream');
  const [{ default: Socket }, { take, drawHands, sayHand }, { SUBPROTOCOL_JSON }] = await Promise.all([
    import('ws'),
    import('./shared/hand-view.js'),
    import('../protocol/constants.js'),
  ]);
  const connect = () =>
    new Socket(url, SUBPROTOCOL_JSON, {
      headers: options.token === undefined ? {} : { authorization: `Bearer ${options.token}` },
      handshakeTimeout: CONNECT_WITHIN_MS,
      perMessageDeflate: false,
    });
  const view: View = new Map();

  if (options.once) {
    const socket = connect();
    await follow(socket, url, view, take, () => {
      if (view.size > 0 && [...view.values()].every(hasShown)) socket.close();
    });
    for (const hand of view.values()) console.log(sayHand(hand));
    return;
  }

  const screen = process.stdout.isTTY && process.env.TERM !== 'dumb';
  const look = {
    unicode: !options.ascii && speaksUnicode(),
    colour: screen && !process.env.NO_COLOR,
  };
  let status = '';
  const draw = () => {
    const nowMs = performance.now();
    const columns = process.stdout.columns || 80;
    const lines = [
      `${url}  ${status}`.slice(0, columns),
      '',
      ...drawHands(view, { ...look, columns }, nowMs),
    ];
    const rows = (process.stdout.rows || 24) - 1;
    // Home, each line with the rest of its row cleared, then everything below: no flicker of a cleared screen.
    process.stdout.write(
      `\x1b[H${lines
        .slice(0, rows)
        .map((line) => `${line}\x1b[K\n`)
        .join('')}\x1b[J`,
    );
  };
  const say = () => {
    for (const hand of view.values()) console.log(sayHand(hand, performance.now()));
  };

  const stopped = new AbortController();
  for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.on(signal, () => stopped.abort());
  process.stdout.on('error', () => stopped.abort());
  // The other screen of the terminal, without its cursor; both come back at the end, whatever ends it.
  if (screen) {
    process.stdout.write('\x1b[?1049h\x1b[?25l');
    process.on('exit', () => process.stdout.write('\x1b[?25h\x1b[?1049l'));
  }
  const timer = setInterval(screen ? draw : say, screen ? REDRAW_MS : LINE_MS);
  let everOpen = false;
  try {
    while (!stopped.signal.aborted) {
      const socket = connect();
      const end = () => socket.terminate();
      stopped.signal.addEventListener('abort', end);
      socket.once('open', () => {
        everOpen = true;
        status = 'connected';
      });
      try {
        await follow(socket, url, view, take);
        status = 'the service ended; waiting for it';
      } catch (error) {
        if (!everOpen && !stopped.signal.aborted) throw error;
        status = 'no service answers; trying again';
      } finally {
        stopped.signal.removeEventListener('abort', end);
        view.clear();
      }
      if (!stopped.signal.aborted) await pause(RETRY_MS, stopped.signal);
    }
  } finally {
    clearInterval(timer);
  }
}

const hasShown = ({ joints, link }: HandView) => joints !== undefined || link !== 'live';

/** Subscribes and takes every message until the socket closes; rejects when it never opened. */
function follow(
  socket: WebSocket,
  url: URL,
  view: View,
  take: typeof import('./shared/hand-view.js').take,
  taken: () => void = () => {},
): Promise<void> {
  return new Promise((resolve, reject) => {
    socket.on('open', () => {
      const streams = ['joints', 'inputs', 'resistance', 'health'];
      socket.send(JSON.stringify({ type: 'subscribe', app: 'tautline watch', streams, rateHz: RATE_HZ }));
    });
    socket.on('message', (data, isBinary) => {
      if (isBinary) return;
      take(view, JSON.parse(String(data)), performance.now());
      taken();
    });
    socket.on('unexpected-response', (_request, { statusCode }) => {
      const refused =
        statusCode === 401 || statusCode === 404
          ? refusal(url, statusCode, undefined)
          : new TautlineError('notPermitted', `${url.host} refused the connection (${statusCode}).`);
      reject(refused);
      socket.terminate();
    });
    socket.on('error', (error) => reject(unreachable(url, error)));
    socket.on('close', () => resolve());
  });
}

/** Windows terminals do; elsewhere the locale says. */
function speaksUnicode(): boolean {
  const { LC_ALL, LC_CTYPE, LANG } = process.env;
  return process.platform === 'win32' || /utf-?8/i.test(LC_ALL || LC_CTYPE || LANG || '');
}

function pause(ms: number, signal: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    const timer = setTimeout(resolve, ms);
    signal.addEventListener(
      'abort',
      () => {
        clearTimeout(timer);
        resolve();
      },
      { once: true },
    );
  });
}
