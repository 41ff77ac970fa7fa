import { STATUS_CODES } from 'node:http';
import type { AddressInfo } from 'node:net';
import type { Duplex } from 'node:stream';
import fastifyStatic from '@fastify/static';
import fastify, { type FastifyInstance } from 'fastify';
import type { Logger } from 'pino';
import type { OpenxrProfile, StreamProfile } from '../config/schema.js';
import { TautlineError } from '../errors.js';
import type { Glove } from '../glove/glove.js';
import { ignoreBodies } from '../glove/ignore-bodies.js';
import { HAND_SIDES } from '../hand/joints.js';
import { logEvent } from '../log/events.js';
import { STREAM_PATH, SUBPROTOCOL_BINARY, SUBPROTOCOL_JSON } from '../protocol/constants.js';
import { AppMessages, ServerMessages, STREAM_PROTOCOL } from '../protocol/messages.js';
import { Access, requireSafeAddress } from './access.js';
import { asyncApiDocument } from './asyncapi.js';
import { AppConnection } from './connection.js';
import { limitConnections } from './connection-limits.js';
import { disarmByHttp, foreignRead, meansDisarm, routable } from './disarm-by-http.js';
import { CLOSE } from './frame-reader.js';
import { acceptHandshake, handshakeFault } from './handshake.js';
import { hasSeveralHosts, SEVERAL_HOSTS } from './host-headers.js';
import { gateHttp } from './http-gate.js';
import { Hub, unusedNow } from './hub.js';
import { isTooDeep } from './json-body.js';
import { DEFAULT_LIMITS, type StreamLimits } from './limits.js';
import { createMetrics, type Metrics } from './metrics.js';
import { createOpenxrApps } from './openxr-apps.js';
import { addOpenxrRoute } from './openxr-route.js';
import { addPairingRoutes } from './pairing-routes.js';
import { createPairings } from './pairings.js';
import { createPermissions, HTTP_APP, type Permissions } from './permissions.js';
import { PROMETHEUS_TYPE } from './prometheus.js';
import { armHands } from './requests.js';
import { createWearerKey, leaveWearerKey, type WearerKey } from './wearer-key.js';

export interface StreamOptions {
  gloves: readonly Glove[];
  profile: StreamProfile;
  /** Which OpenXR programs are served; every one when absent. */
  openxr?: OpenxrProfile;
  logger: Logger;
  /** Version of the service, for apps. */
  version: string;
  /** Directory of the page that is served at `/`. */
  page?: string;
  /** Directory of the demo apps that are served at `/demos/`. */
  demos?: string;
  /** Adds routes of other parts; they pass the same checks of host, origin and token. */
  routes?: (app: FastifyInstance) => void;
  limits?: Partial<StreamLimits>;
  /** Folders for the wearer's key, for the command line; the first writable one is used. */
  keyFolders?: readonly string[];
  /** File of the browser extensions that the wearer has paired; none: no extension can be. */
  pairingFile?: string;
}

export interface Stream {
  /** `http://host:port`. */
  readonly address: string;
  readonly port: number;
  /** See wearer-key.ts. */
  readonly wearerKey: string;
  /** Resolves when the first app has subscribed. */
  readonly subscribed: Promise<void>;
  /** Closes every connection and frees the port. */
  close(): Promise<void>;
}

const CROWDED_TOLD_EVERY_MS = 1000;
/** A connection that is kept open for more requests is closed after this time without one. */
const KEEP_ALIVE_MS = 5000;
const SUBPROTOCOLS = [SUBPROTOCOL_JSON, SUBPROTOCOL_BINARY];
/** The page consists of its own files and talks to this service alone. */
const PAGE_POLICY = [
  "default-src 'self'",
  "img-src 'self' data: blob:",
  "style-src 'self' 'unsafe-inline'",
  "object-src 'none'",
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join('; ');

/**
 * Serves the gloves to apps: WebSocket at /stream, HTTP beside it on the same port.
 * @throws TautlineError addressNotAllowed or addressInUse
 */
export async function startStream(options: StreamOptions): Promise<Stream> {
  const { gloves, profile, logger, version } = options;
  requireSafeAddress(profile);
  const limits = { ...DEFAULT_LIMITS, ...options.limits };
  const access = new Access(profile, createPairings(options.pairingFile));
  const permissions = createPermissions(profile);
  const hub = new Hub(gloves, version, limits, logger, permissions, createOpenxrApps(options.openxr));
  let crowdedTimes = 0;
  let crowdedToldMs = Number.NEGATIVE_INFINITY;
  const metrics = createMetrics(hub, () => sockets);
  const wearerKey = createWearerKey();
  const app = createHttp(options, limits, access, hub, permissions, metrics, wearerKey);
  const sockets = limitConnections(app.server, limits, (reason, address) => {
    crowdedTimes++;
    // A flood of connections must not become a flood of log lines.
    if (performance.now() - crowdedToldMs < CROWDED_TOLD_EVERY_MS) return;
    crowdedToldMs = performance.now();
    logEvent(logger, 'connections.crowded', { reason, address, times: crowdedTimes });
  });
  const gate = gateHttp(app.server, hub.burst);

  let count = 0;
  app.server.on('upgrade', (request, socket: Duplex, head) => {
    socket.on('error', () => socket.destroy());
    gate.release(socket);
    const url = request.url ?? '/';
    const offered = request.headers['sec-websocket-protocol']?.split(',').map((name) => name.trim());
    const method = request.method ?? '';
    const denial = hasSeveralHosts(request.rawHeaders)
      ? SEVERAL_HOSTS
      : access.deny(request.headers, url, false, true);
    if (denial) {
      hub.counts.notPermitted++;
      logEvent(logger, 'app.refused', { origin: request.headers.origin, reason: denial.message });
      refuse(socket, denial.status, 'notPermitted', denial.message);
    } else if (meansDisarm({ method, url, route: undefined })) {
      // Some HTTP clients offer an upgrade with every request.
      answer(socket, 200, disarmByHttp(hub, url));
    } else if (url.split('?', 1)[0] !== STREAM_PATH) {
      refuse(socket, 404, 'notSupported', `The stream is at ${STREAM_PATH}.`);
    } else if (offered && !offered.some((name) => SUBPROTOCOLS.includes(name))) {
      const message = `None of the subprotocols offered is known; use ${SUBPROTOCOLS.join(' or ')}.`;
      refuse(socket, 400, 'notSupported', message);
    } else {
      const fault = handshakeFault(request);
      if (fault) {
        refuse(socket, fault.status, 'notSupported', fault.message);
        return;
      }
      const subprotocol = offered?.find((name) => SUBPROTOCOLS.includes(name));
      if ('setNoDelay' in socket && typeof socket.setNoDelay === 'function') socket.setNoDelay(true);
      if ('setTimeout' in socket && typeof socket.setTimeout === 'function') socket.setTimeout(0);
      acceptHandshake(request, socket, subprotocol);
      sockets.becameStream(socket);
      const encoding = subprotocol === SUBPROTOCOL_BINARY ? 'binary' : 'json';
      const { origin } = request.headers;
      const isPage = origin !== undefined;
      if (head.length > 0) socket.unshift(head);
      const connection = new AppConnection({
        app: `app${++count}`,
        encoding,
        socket,
        host: hub,
        logger,
        isPage,
      });
      connection.proved = access.provedApp(request.headers, url);
      connection.name = connection.proved;
      if (access.admitsPaired(request.headers, url)) connection.pairedOrigin = origin;
      if (hub.connections.size >= profile.maxClients) makeRoom(hub, limits);
      if (hub.connections.size >= profile.maxClients) {
        hub.counts.tooManyApps++;
        // Told in the stream: a browser hides the status of a refused handshake from its page.
        const message = `${profile.maxClients} apps are connected and stream.maxClients permits no more.`;
        connection.complain({ code: 'tooMany', message });
        connection.close(CLOSE.tryAgainLater, 'too many apps');
        return;
      }
      const { app, proved } = connection;
      logEvent(logger, 'app.connected', { app, origin, encoding, proved });
      hub.begin(connection);
    }
  });

  try {
    await app.listen({ host: profile.host, port: profile.port });
  } catch (error) {
    hub.close();
    metrics.close();
    await app.close();
    throw listenError(profile, error);
  }
  const { port } = app.server.address() as AddressInfo;
  access.port = port;
  const takeKeyAway = leaveWearerKey(wearerKey, options.keyFolders ?? [], port);
  if (!takeKeyAway && options.keyFolders) {
    logEvent(logger, 'wearerKey.notLeft', { folders: options.keyFolders.join(', ') });
  }
  const host = profile.host.includes(':') ? `[${profile.host}]` : profile.host;

  return {
    address: `http://${host}:${port}`,
    port,
    wearerKey: wearerKey.value,
    subscribed: hub.subscribed,
    async close() {
      takeKeyAway?.();
      hub.close();
      metrics.close();
      const open = [...hub.connections];
      for (const connection of open) connection.close(CLOSE.goingAway, 'the service ends');
      await Promise.all(open.map(({ wire }) => wire.closed));
      await app.close();
    },
  };
}

declare module 'fastify' {
  interface FastifyRequest {
    /** It came with the wearer's key: from the page of the service, or from the command line of its user. */
    wearer: boolean;
  }
}

/** When all places are taken, whoever has held one for long without a word gives it up. */
function makeRoom(hub: Hub, { speakWithinMs }: StreamLimits): void {
  const nowMs = performance.now();
  for (const connection of hub.connections) {
    if (connection.spoken || nowMs - connection.sinceMs < speakWithinMs) continue;
    connection.complain({
      code: 'tooMany',
      message: 'This connection asked for nothing, and another app needs its place.',
    });
    connection.close(CLOSE.tryAgainLater, 'asked for nothing');
    return;
  }
}

function createHttp(
  { page, demos, routes }: StreamOptions,
  limits: StreamLimits,
  access: Access,
  hub: Hub,
  permissions: Permissions,
  metrics: Metrics,
  wearerKey: WearerKey,
): FastifyInstance {
  const app = fastify({
    logger: false,
    forceCloseConnections: true,
    bodyLimit: 1024 * 1024,
    rewriteUrl: ({ url = '/' }) => routable(url),
    requestTimeout: limits.requestWithinMs,
    keepAliveTimeout: KEEP_ALIVE_MS,
    http: {
      headersTimeout: limits.headersWithinMs,
      // Node looks for requests that take too long this often; its own half minute lets them pile up.
      connectionsCheckingInterval: Math.min(1000, limits.headersWithinMs / 2),
    },
  });
  app.decorateRequest('wearer', false);
  const parseJson = app.getDefaultJsonParser('error', 'error');
  app.addContentTypeParser('application/json', { parseAs: 'string' }, (request, body, done) => {
    if (!isTooDeep(body as string)) void parseJson(request, body as string, done);
    else done(Object.assign(new Error('The JSON is nested too deeply.'), { statusCode: 400 }));
  });
  app.addHook('onRequest', async (request, reply) => {
    reply.header('x-content-type-options', 'nosniff');
    // No page may lay itself over the arm button; the token in a URL goes nowhere.
    reply.header('content-security-policy', PAGE_POLICY);
    reply.header('referrer-policy', 'no-referrer');
    if (hasSeveralHosts(request.raw.rawHeaders)) {
      return reply.code(SEVERAL_HOSTS.status).send({ code: 'notPermitted', message: SEVERAL_HOSTS.message });
    }
    const { origin } = request.headers;
    const { url: route } = request.routeOptions;
    const toDisarm = meansDisarm({ method: request.method, url: request.url, route });
    const isFile = !toDisarm && (route === '/*' || route === '/demos/*' || route === undefined);
    // A browser asks first whether its page may send a token, and asks without one.
    const isPreflight = request.method === 'OPTIONS';
    const denial = access.deny(request.headers, request.url, isFile || isPreflight, toDisarm);
    if (denial) return reply.code(denial.status).send({ code: 'notPermitted', message: denial.message });
    request.wearer = wearerKey.isIn(request.headers);
    const proved = access.provedApp(request.headers, request.url);
    const refusal = request.wearer
      ? undefined
      : permissions.refuseRequest(request.method, request.routeOptions.url ?? '', proved);
    if (refusal) return reply.code(403).send(refusal);
    if (origin !== undefined) reply.header('access-control-allow-origin', origin).header('vary', 'origin');
    if (isPreflight) {
      return reply
        .code(204)
        .header('access-control-allow-methods', 'GET, POST, DELETE')
        .header('access-control-allow-headers', 'authorization, content-type')
        .header('access-control-allow-private-network', 'true')
        .send();
    }
    if (toDisarm) {
      if (!foreignRead(request.method, request.headers['sec-fetch-site'])) {
        return reply.header('cache-control', 'no-store').send(disarmByHttp(hub, request.url));
      }
      const message = 'Another web page had this address read; a wearer would not.';
      return reply.code(403).send({ code: 'notPermitted', message });
    }
  });
  app.setNotFoundHandler((_request, reply) => {
    reply.code(404).send({ code: 'notSupported', message: 'There is nothing at this address.' });
  });

  app.get('/health', (_request, reply) => reply.header('cache-control', 'no-store').send(hub.status()));
  addOpenxrRoute(app, hub);
  addPairingRoutes(app, access.pairings, hub);
  app.get('/metrics', (_request, reply) =>
    reply.header('cache-control', 'no-store').type(PROMETHEUS_TYPE).send(metrics.read()),
  );
  app.get('/schema', (_request, reply) =>
    reply.send({
      $schema: 'http://json-schema.org/draft-07/schema#',
      title: 'Messages of the Tautline stream',
      protocol: STREAM_PROTOCOL,
      app: AppMessages,
      server: ServerMessages,
    }),
  );
  app.get('/wearer', (request, reply) => {
    reply.header('cache-control', 'no-store');
    if (access.isOwnPage(request.headers, request.url)) return reply.send({ key: wearerKey.value });
    return reply
      .code(403)
      .send({ code: 'notPermitted', message: 'This is for the page of the service alone.' });
  });
  app.get('/asyncapi.json', (_request, reply) => reply.send(asyncApiDocument()));
  app.register(async (scope) => {
    // The body does not matter: whatever a hurried client sends, it must not fail to disarm.
    ignoreBodies(scope);
    const handsNow = (hand: string | undefined) => ({
      armed: hub.isArmed(hand),
      hands: hub.feedsOf(hand).map(({ glove }) => ({
        hand: glove.description.hand,
        armed: glove.armed,
        connected: glove.connected,
        unused: unusedNow(glove),
      })),
    });
    scope.post<{ Querystring: { hand?: string } }>('/arm', (request, reply) => {
      const { hand } = request.query;
      if (hand !== undefined && !(HAND_SIDES as readonly string[]).includes(hand)) {
        return reply.code(400).send({ code: 'unknownHand', message: 'hand is left or right.' });
      }
      const proved = access.provedApp(request.headers, request.url);
      const outcome = request.wearer
        ? armHands(hub, hand, 'the wearer', 'wearer')
        : armHands(hub, hand, proved ?? HTTP_APP, permissions.mayArm(proved) ? 'app' : undefined);
      if (!('refused' in outcome)) return reply.send({ ...handsNow(hand), ...outcome });
      const { code } = outcome.refused;
      const status = code === 'unknownHand' ? 404 : code === 'notPermitted' ? 403 : 409;
      return reply.code(status).send({ ...handsNow(hand), ...outcome.refused });
    });
  });
  routes?.(app);
  if (demos !== undefined) {
    app.register(fastifyStatic, { root: demos, prefix: '/demos/', decorateReply: page === undefined });
  }
  if (page !== undefined) app.register(fastifyStatic, { root: page, prefix: '/', preCompressed: true });
  return app;
}

function refuse(socket: Duplex, status: number, code: string, message: string): void {
  answer(socket, status, { code, message });
}

function answer(socket: Duplex, status: number, what: object): void {
  const body = JSON.stringify(what);
  socket.end(
    `HTTP/1.1 ${status} ${STATUS_CODES[status]}\r\nConnection: close\r\nContent-Type: application/json\r\n` +
      `Content-Length: ${Buffer.byteLength(body)}\r\n\r\n${body}`,
  );
}

function listenError(profile: StreamProfile, error: unknown): TautlineError {
  const at = `${profile.host}:${profile.port}`;
  const code = (error as NodeJS.ErrnoException).code;
  const cause = { cause: error };
  if (code === 'EADDRINUSE') {
    return new TautlineError(
      'addressInUse',
      `Another program listens on ${at}.`,
      'Is the service running already? Stop it, or set another stream.port in the profile.',
      cause,
    );
  }
  const why = error instanceof Error ? error.message : String(error);
  const remedy = 'Set stream.host and stream.port to an address of this machine that you may use.';
  return new TautlineError('addressNotAllowed', `Cannot listen on ${at}: ${why}.`, remedy, cause);
}
