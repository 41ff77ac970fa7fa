import { type Clock, systemClock } from '../clock.js';
import { TautlineError } from '../errors.js';
import type { HandSide } from '../hand/joints.js';
import type { GloveCodec, GloveMessages } from './codec.js';
import type { OpenPort, Port, PortEvents } from './link.js';
import { describePort, type PortInfo } from './list-ports.js';
import { createStrayBytes, type StrayBytes } from './stray-bytes.js';

/** A board that does not restart when its port is opened answers within a second. */
const PATIENCE_MS = 1500;
/** One that does restart stays in its boot loader for a second or two (common practice) before it starts. */
const LONG_PATIENCE_MS = 5000;
const ASK_EVERY_MS = 250;

export interface AskPortsOptions {
  /** The glove that is looked for. */
  hand: HandSide;
  /** Any glove will do: it is the only one in the profile, and reports its own hand. */
  anyHand: boolean;
  codec(messages: GloveMessages): GloveCodec;
  candidates(): Promise<PortInfo[]>;
  open(path: string): OpenPort;
  /** Called with the failure's first words when no glove answers, such as `on any port`. */
  where?: string;
  clock?: Clock;
}

/** What a port turned out to be. */
type Answer = { port: Port; hand: HandSide } | { why: string; silent: boolean };

/**
 * Finds the glove by asking: opens one candidate after the other, asks for a hello, and keeps the port on which the
 * wanted hand answers. The port that answered last time is asked first. Silent ports are asked once more, with more
 * patience.
 */
export function askPorts(options: AskPortsOptions): OpenPort {
  const { hand, anyHand, candidates, where = 'on any port' } = options;
  let lastPath: string | undefined;

  return async (events, abandoned) => {
    const ports = await candidates();
    ports.sort((a, b) => Number(b.path === lastPath) - Number(a.path === lastPath));
    const why = new Map<PortInfo, string>();
    let round = ports;
    for (const patienceMs of [PATIENCE_MS, LONG_PATIENCE_MS]) {
      const silent: PortInfo[] = [];
      for (const info of round) {
        const answer = await askOne(info.path, patienceMs, events, abandoned);
        if (abandoned?.aborted) {
          if ('port' in answer) await answer.port.close();
          throw new TautlineError('portFailed', 'The search for the glove was cancelled.');
        }
        if ('port' in answer) {
          if (anyHand || answer.hand === hand) {
            lastPath = info.path;
            return answer.port;
          }
          await answer.port.close();
          why.set(info, `a ${answer.hand} glove`);
        } else {
          why.set(info, answer.why);
          if (answer.silent) silent.push(info);
        }
      }
      round = silent;
    }
    throw notFound(ports, why);
  };

  function notFound(ports: readonly PortInfo[], why: ReadonlyMap<PortInfo, string>): TautlineError {
    const glove = anyHand ? 'No glove' : `No ${hand} glove`;
    if (ports.length === 0) {
      return new TautlineError(
        'portMissing',
        `${glove} is connected: there is no serial port to ask.`,
        'Plug it in. A charge-only cable does not work.',
      );
    }
    const each = ports.map((info) => `${describePort(info)}: ${why.get(info)?.replace(/\.$/, '')}`);
    return new TautlineError(
      'portMissing',
      `${glove} answers ${where}. ${each.join('; ')}.`,
      'Check that it is on and has the same baud rate, or name its port in the profile.',
    );
  }

  async function askOne(
    path: string,
    patienceMs: number,
    events: PortEvents,
    abandoned: AbortSignal | undefined,
  ): Promise<Answer> {
    const { clock = systemClock } = options;
    let settle: (hand: HandSide | undefined) => void = () => {};
    const answered = new Promise<HandSide | undefined>((resolve) => {
      settle = resolve;
    });
    const nothing = () => {};
    const codec = options.codec({
      hello: (hello) => settle(hello.hand),
      samples: nothing,
      state: nothing,
      pong: nothing,
      note: nothing,
    });
    const stray = createStrayBytes();
    let kept = false;
    let ended: TautlineError | undefined;
    let port: Port;
    try {
      port = await options.open(path)(
        {
          bytes(chunk, arrivalUs) {
            if (kept) events.bytes(chunk, arrivalUs);
            else {
              stray.see(chunk);
              codec.push(chunk, arrivalUs);
            }
          },
          ended(error) {
            ended = error;
            if (kept) events.ended(error);
            else settle(undefined);
          },
        },
        abandoned,
      );
    } catch (cause) {
      return { why: cause instanceof TautlineError ? cause.message : String(cause), silent: false };
    }
    const giveUp = () => settle(undefined);
    const cancelPatience = clock.after(patienceMs, giveUp);
    abandoned?.addEventListener('abort', giveUp);
    if (abandoned?.aborted) giveUp();
    let cancelAsking = nothing;
    const ask = (): void => {
      cancelAsking = clock.after(ASK_EVERY_MS, ask);
      const question = codec.askHello();
      if (question.length > 0) port.write(question);
    };
    ask();
    const hand = await answered;
    cancelAsking();
    cancelPatience();
    abandoned?.removeEventListener('abort', giveUp);
    if (hand !== undefined && ended === undefined) {
      kept = true;
      return { port, hand };
    }
    await port.close();
    return { why: ended ? ended.message : whatCame(stray), silent: ended === undefined };
  }
}

/** Of a port on which nobody introduced himself. */
function whatCame(stray: StrayBytes): string {
  const look = stray.look();
  switch (look?.kind) {
    case undefined:
      return 'no answer';
    case 'text':
      return `it sends text${look.line === undefined ? '' : `, such as ${look.line}`}: if this is the glove, it needs \`codec: lines\` and its columns`;
    case 'frames':
      return 'it sends frames of the link protocol, but says no hello that is wanted here';
    case 'unreadable':
      return 'bytes come that cannot be read: another baud rate, or another device';
  }
}
