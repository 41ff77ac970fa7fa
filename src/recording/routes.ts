import { createReadStream } from 'node:fs';
import { stat } from 'node:fs/promises';
import { PassThrough } from 'node:stream';
import type { FastifyInstance, FastifyReply } from 'fastify';
import { type ErrorCode, TautlineError } from '../errors.js';
import { ignoreBodies } from '../glove/ignore-bodies.js';
import type { FileSink } from './file-sink.js';
import type { Player } from './player.js';
import type { Recorder } from './recorder.js';
import {
  describeSessionFile,
  EXPORT_FORMATS,
  type ExportFormat,
  exportSessionFile,
} from './session-tools.js';
import type { Sessions } from './sessions.js';

/**
 * Sessions over HTTP, for pages and programs.
 *
 *   GET    /sessions                 what there is, what is recorded and replayed now
 *   GET    /sessions/NAME            the file
 *   GET    /sessions/NAME/info       what is in it
 *   GET    /sessions/NAME/export?to=csv|ndjson|glb
 *   DELETE /sessions/NAME
 *   POST   /record?name=&joints=1    begin a recording in the service's folder; both may be left out
 *   POST   /record/mark?text=        a note, now
 *   POST   /record/stop
 *   GET    /record/stream?joints=1   a recording as the body of the answer, until it is closed, or until
 *   POST   /record/stream/stop       ends all of these with their index
 *   POST   /replay?name=&speed=&from=&to=&loop=1    show a session in place of the gloves; with example=1 one of those
 *                                    that come with the program
 *   GET    /replay                   where it is
 *   POST   /replay/play, /replay/pause, /replay/seek?to=SECONDS, /replay/speed?speed=, /replay/close
 *   POST   /simulate                 show simulated gloves in place of those that are not there; /replay/close ends it
 *
 * speed is a number or `max`; from, to and seek are seconds from the start of the session.
 */
export function addSessionRoutes(app: FastifyInstance, sessions: Sessions): void {
  app.register(async (scope) => {
    ignoreBodies(scope);
    scope.addHook('onRequest', async (_request, reply) => {
      reply.header('cache-control', 'no-store');
    });
    scope.setErrorHandler((error, _request, reply) => {
      if (!(error instanceof TautlineError)) throw error;
      return reply.code(HTTP_STATUS[error.code] ?? 400).send({ code: error.code, message: error.line });
    });

    scope.get('/sessions', () => sessions.list());
    scope.get<{ Params: { name: string } }>('/sessions/:name', async ({ params }, reply) => {
      const path = await sessions.existing(params.name);
      const file = await stat(path);
      reply
        .header('content-type', 'application/octet-stream')
        .header('content-disposition', `attachment; filename="${params.name}"`)
        .header('content-length', file.size);
      // Not beyond the size that was promised, if it is still being written.
      return reply.send(createReadStream(path, file.size > 0 ? { end: file.size - 1 } : {}));
    });
    scope.get<{ Params: { name: string } }>('/sessions/:name/info', async ({ params }, reply) => {
      const text = await describeSessionFile(await sessions.existing(params.name));
      return reply.type('application/json').send(text);
    });
    scope.get<{ Params: { name: string }; Querystring: { to?: string } }>(
      '/sessions/:name/export',
      async ({ params, query }, reply) => {
        const to = query.to as ExportFormat;
        if (!EXPORT_FORMATS.includes(to)) {
          throw new TautlineError('badMessage', `to is one of: ${EXPORT_FORMATS.join(', ')}.`);
        }
        const { stream, bytes } = await exportSessionFile(await sessions.existing(params.name), to);
        const file = params.name.replace(/\.mcap$/, `.${to}`);
        reply
          .type(EXPORT_TYPE[to])
          .header('content-disposition', `attachment; filename="${file}"`)
          .header('content-length', bytes);
        return reply.send(stream);
      },
    );
    scope.delete<{ Params: { name: string } }>('/sessions/:name', async ({ params }) => {
      await sessions.remove(params.name);
      return { removed: params.name };
    });

    scope.post<{ Querystring: { name?: string; joints?: string } }>('/record', ({ query }) =>
      sessions.record(query.name, isSet(query.joints)),
    );
    scope.post('/record/stop', () => sessions.stop());
    scope.post<{ Querystring: { text?: string } }>('/record/mark', async ({ query }) => {
      if (!query.text) throw new TautlineError('badMessage', 'text is missing.', 'Say what to note.');
      return sessions.mark(query.text);
    });
    const streams = new Set<Recorder>();
    scope.post('/record/stream/stop', async () => {
      await Promise.all([...streams].map((recorder) => recorder.stop()));
      return { stopped: true };
    });
    scope.get<{ Querystring: { joints?: string } }>('/record/stream', async ({ query, raw }, reply) => {
      const body = new PassThrough({ highWaterMark: 1024 * 1024 });
      const recorder = await sessions.recordTo({
        file: 'stream.mcap',
        joints: isSet(query.joints),
        open: async (path, { failed }) => streamSink(path, body, failed),
      });
      streams.add(recorder);
      raw.on('close', () => {
        streams.delete(recorder);
        void recorder.stop();
      });
      return sendStream(reply, body);
    });

    scope.get('/replay', async () => sessions.player.state);
    scope.post<{
      Querystring: {
        name?: string;
        speed?: string;
        from?: string;
        until?: string;
        to?: string;
        loop?: string;
        example?: string;
      };
    }>('/replay', async ({ query }) => {
      const { name = '', speed, from, to, until = to, loop, example } = query;
      return sessions.open(name, {
        speed: speed === undefined ? undefined : speedOf(speed),
        fromS: from === undefined ? undefined : secondsOf('from', from),
        toS: until === undefined ? undefined : secondsOf('until', until),
        loop: isSet(loop),
        example: isSet(example),
      });
    });
    const control = <Q>(path: string, act: (player: Player, query: Q) => void) =>
      scope.post<{ Querystring: Q & object }>(path, async ({ query }) => {
        const { player } = sessions;
        act(player, query as Q);
        return player.state;
      });
    control('/replay/play', (player) => player.play());
    control('/replay/pause', (player) => player.pause());
    control<{ to?: string }>('/replay/seek', (player, { to = '' }) => player.seek(secondsOf('to', to)));
    control<{ speed?: string }>('/replay/speed', (player, { speed = '' }) => player.setSpeed(speedOf(speed)));
    scope.post('/simulate', async () => {
      await sessions.simulate();
      return { simulated: true };
    });
    scope.post('/replay/close', async () => {
      await sessions.closeReplay();
      return { closed: true };
    });
  });
}

const EXPORT_TYPE: Record<ExportFormat, string> = {
  csv: 'text/csv; charset=utf-8',
  ndjson: 'application/x-ndjson',
  glb: 'model/gltf-binary',
};

const HTTP_STATUS: Partial<Record<ErrorCode, number>> = {
  fileNotFound: 404,
  unknownHand: 404,
  notSupported: 409,
  tooMany: 409,
  notPermitted: 409,
  fileDenied: 409,
  diskFull: 507,
};

const isSet = (text: string | undefined): boolean => text !== undefined && text !== '0' && text !== 'false';

function secondsOf(name: string, text: string): number {
  const value = Number(text);
  if (text.trim() !== '' && value >= 0 && Number.isFinite(value)) return value;
  throw new TautlineError('badMessage', `${name} is a number of seconds, not "${text.slice(0, 20)}".`);
}

/** @throws TautlineError badMessage */
export function speedOf(text: string): number {
  if (text === 'max') return Number.POSITIVE_INFINITY;
  const value = Number(text);
  if (text.trim() !== '' && value > 0 && value <= 1000) return value;
  throw new TautlineError(
    'badMessage',
    `speed is "max" or a number above 0, at most 1000, not "${text.slice(0, 20)}".`,
  );
}

/** A reader that is slower than the gloves for so long must not fill the service's memory. */
const MAX_UNREAD_BYTES = 16 * 1024 * 1024;

function streamSink(path: string, body: PassThrough, failed: (error: TautlineError) => void): FileSink {
  let failure: TautlineError | undefined;
  return {
    path,
    get waitingBytes() {
      return body.writableLength + body.readableLength;
    },
    get failure() {
      return failure;
    },
    write(bytes) {
      if (failure || body.destroyed) return;
      if (body.writableLength + body.readableLength > MAX_UNREAD_BYTES) {
        failure = new TautlineError('tooMany', 'The recording is not read fast enough; it ends here.');
        body.destroy();
        failed(failure);
        return;
      }
      body.write(bytes);
    },
    drained: async () => {},
    synced: async () => {},
    async close() {
      body.end();
    },
    async abandon() {
      body.destroy();
    },
  };
}

function sendStream(reply: FastifyReply, body: PassThrough): FastifyReply {
  return reply.header('content-type', 'application/octet-stream').send(body);
}
