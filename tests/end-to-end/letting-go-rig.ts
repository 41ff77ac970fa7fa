import { connect as connectTo, createServer, type Server, type Socket } from 'node:net';
import { setTimeout as wait } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { FINGERS } from '../../src/hand/joints.js';
import { type Running, run, start } from '../commands/cli.js';
import { type HostGlove, type HostGloveEvent, startHostGlove } from '../firmware/host-glove.js';
import type { App } from '../stream/app.js';
import { armGlove, hostGloveProfile, type ServiceProcess, startServiceProcess } from './service.js';

/*
 * A service with our firmware at its end, an app that holds every finger, a flood if wanted, and every way to let go,
 * timed by the firmware's own clock. For the test of what the guides promise, and for scripts/letting-go.ts.
 */

/** Of the glove, for disarming. */
export const DISARM_BUTTON = 9;
/** Streams at once: a flood of 64, and those who are no part of it. */
const MAX_CLIENTS = 80;
const GIVE_UP_US = 30e6;

export const monotonicUs = (): number => Number(process.hrtime.bigint() / 1000n);
export const appProgram = (name: string): string => fileURLToPath(new URL(`./apps/${name}`, import.meta.url));

/** A way on which a connection goes, and can stop going without an end. */
export interface Line {
  readonly port: number;
  /** When bytes last came from the near end, monotonic µs. */
  heardUs: number;
  /** No byte gets through any more, either way, and neither end is told. */
  cut(): void;
  end(): void;
}

/** A line to a port of this machine. */
export async function startLine(port: number): Promise<Line> {
  const sockets = new Set<Socket>();
  let whole = true;
  const server: Server = createServer({ noDelay: true }, (near) => {
    const far = connectTo({ port, host: '127.0.0.1', noDelay: true });
    for (const [from, to] of [
      [near, far],
      [far, near],
    ]) {
      sockets.add(from);
      from.on('error', () => {});
      from.on('data', (chunk) => {
        if (from === near) line.heardUs = monotonicUs();
        if (whole) to.write(chunk);
      });
      from.on('close', () => {
        sockets.delete(from);
        if (whole) to.destroy();
      });
    }
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const line: Line = {
    port: (server.address() as { port: number }).port,
    heardUs: Number.NaN,
    cut() {
      whole = false;
    },
    end() {
      server.close();
      for (const socket of sockets) socket.destroy();
    },
  };
  return line;
}

export interface Release {
  /** From when it was asked for, or something failed, to when the firmware held nothing any more for good. */
  tookMs: number;
  /** Times that fingers were gripped after they had been free. */
  regrips: number;
}

/** What may be asked or may fail; what it returns is when that was, monotonic µs, if not at the call. */
export type Way = (rig: Rig) => unknown;

export interface Rig {
  readonly glove: HostGlove;
  readonly service: ServiceProcess;
  /** An app that takes no part in the flood. */
  readonly app: App;
  /** The app that holds every finger. */
  holder: Running;
  /** What the holder is connected by. */
  line: Line;
  /** Arms, and has every finger held by an app of its own process. */
  hold(): Promise<void>;
  /** @param more see apps/flood.mjs */
  flood(connections: number, rate: number, ...more: string[]): Promise<Running>;
  /** So many connections at a time come and go. */
  comers(count: number): Promise<Running>;
  /** @param quietMs without a grip, after which it counts as let go for good */
  release(way: Way, quietMs?: number): Promise<Release>;
  end(): Promise<void>;
}

/** @param profile further lines: of the glove, then of the whole */
export async function startRig(profile: readonly string[] = []): Promise<Rig> {
  const glove = await startHostGlove(['--rate', '250']);
  const service = await startServiceProcess(
    [
      // What is held over and over would be let go for being warm.
      hostGloveProfile(glove.pty).replaceAll('kind: stringStop', 'kind: stringStop, maxHoldS: 600'),
      `    buttons: { disarm: ${DISARM_BUTTON} }`,
      `stream: { maxClients: ${MAX_CLIENTS} }`,
      ...profile,
    ].join('\n'),
  );
  const app = await service.connect();
  await app.ask({ type: 'subscribe', app: 'onlooker', streams: ['joints'], rateHz: 20 });
  await app.reached(() => app.of('joints').some(({ valid }) => valid));

  const apps: Running[] = [];
  const lines: Line[] = [];
  let watching: ((event: HostGloveEvent) => void) | undefined;
  for (const name of ['held', 'released']) {
    const listen = (): void =>
      void glove.nextEvent(name).then((event) => {
        watching?.(event);
        listen();
      });
    listen();
  }
  const begin = async (name: string, args: readonly unknown[], says: string): Promise<Running> => {
    const running = start(args.map(String), [appProgram(name)]);
    apps.push(running);
    await running.said(says);
    return running;
  };
  const allHeld = async (): Promise<boolean> =>
    (await glove.ask<{ free: boolean }[]>('servos')).every(({ free }) => !free);
  const allFree = async (): Promise<boolean> =>
    (await glove.ask<{ free: boolean }[]>('servos')).every(({ free }) => free);

  const rig: Rig = {
    glove,
    service,
    app,
    holder: undefined as unknown as Running,
    line: undefined as unknown as Line,

    async hold() {
      while (!(await armGlove(service))) await wait(20);
      if (!rig.holder || rig.holder.process.exitCode !== null || rig.holder.process.signalCode !== null) {
        rig.line = await startLine(service.port);
        lines.push(rig.line);
        rig.holder = await begin('holder.mjs', [rig.line.port, 'right'], 'holding');
      }
      // Again and again: right after a disarm it is refused, and a button takes a moment to be up.
      while (!(await allHeld())) {
        await armGlove(service);
        await wait(20);
      }
    },

    flood: (connections, rate, ...more) =>
      begin('flood.mjs', [service.port, 'right', connections, rate, ...more], 'flooding'),

    comers: (count) => begin('comers.mjs', [service.port, count], 'coming'),

    async release(way, quietMs = 500) {
      const changes: { event: string; atUs: number }[] = [];
      let changedMs = performance.now();
      watching = ({ event, deviceUs }) => {
        changedMs = performance.now();
        changes.push({ event, atUs: glove.clockUs + deviceUs });
      };
      const calledUs = monotonicUs();
      const toldUs = await way(rig);
      const askedUs = typeof toldUs === 'number' ? toldUs : calledUs;
      while (changes.at(-1)?.event !== 'released' || performance.now() - changedMs < quietMs) {
        await wait(5);
        if (monotonicUs() - askedUs <= GIVE_UP_US) continue;
        // The servos themselves say whether it is the hand that was held, or the event that was missed.
        const how = (await allFree()) ? 'their release was not seen' : 'they are still held';
        throw new Error(
          `fingers were not free after half a minute: ${how}; seen: ${JSON.stringify(changes)}`,
        );
      }
      watching = undefined;
      if (!(await allFree())) throw new Error(`one of ${FINGERS.length} fingers is held after the release`);
      const first = changes.findIndex(({ event, atUs }) => event === 'released' && atUs >= askedUs);
      const since = first < 0 ? [] : changes.slice(first);
      const tookMs = (changes[changes.length - 1].atUs - askedUs) / 1000;
      return { tookMs, regrips: since.filter(({ event }) => event === 'held').length };
    },

    async end() {
      for (const one of apps) {
        one.process.kill('SIGKILL');
        await one.outcome;
      }
      for (const line of lines) line.end();
      await service.stop();
      await glove.quit();
    },
  };
  return rig;
}

const gone = async ({ holder, line }: Rig): Promise<void> => {
  holder.process.kill('SIGKILL');
  await holder.outcome;
  line.end();
};

/** Each way to let go, and what is to be done afterwards. */
export const WAYS: Record<string, { fails: Way; after?: (rig: Rig) => unknown; byApp?: boolean }> = {
  'POST /disarm': {
    async fails({ service }) {
      const atUs = monotonicUs();
      const response = await fetch(`http://127.0.0.1:${service.port}/disarm`, { method: 'POST' });
      if (!response.ok) throw new Error(`POST /disarm: ${response.status}`);
      return atUs;
    },
  },
  'disarm on the stream': { fails: ({ app }) => app.send({ type: 'disarm' }) },
  'glove button': {
    fails: ({ glove }) => void glove.command(`button ${DISARM_BUTTON} 1`),
    after: ({ glove }) => glove.command(`button ${DISARM_BUTTON} 0`),
  },
  '`tautline disarm`': {
    async fails({ service }) {
      const line = await startLine(service.port);
      try {
        const { code, stderr } = await run('disarm', '--url', `http://127.0.0.1:${line.port}`);
        if (code !== 0) throw new Error(stderr);
        return line.heardUs;
      } finally {
        line.end();
      }
    },
  },
  'app killed': { fails: ({ holder }) => void holder.process.kill('SIGKILL'), after: gone, byApp: true },
  'app frozen': { fails: ({ holder }) => void holder.process.kill('SIGSTOP'), after: gone, byApp: true },
  'half-open socket': { fails: ({ line }) => line.cut(), after: gone, byApp: true },
};
