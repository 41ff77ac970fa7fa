import type { FastifyInstance, FastifyRequest } from 'fastify';
import { isLoopback } from '../config/address.js';
import { logEvent } from '../log/events.js';
import { tokenOf } from './access.js';
import { CLOSE } from './frame-reader.js';
import type { Hub } from './hub.js';
import { isExtension, PAIRING_ROUTE, PAIRING_STATE_ROUTE, type Pairings } from './pairings.js';

/** How extensions ask, and how the wearer answers: see pairings.ts. */
export function addPairingRoutes(app: FastifyInstance, pairings: Pairings, hub: Hub): void {
  const { logger } = hub;
  const secretOf = ({ headers, url }: FastifyRequest) => tokenOf(headers.authorization, url);

  // By POST: a browser leaves the origin of an extension out of some requests that only read.
  app.post(PAIRING_STATE_ROUTE, (request, reply) => {
    const { origin } = request.headers;
    if (!isExtension(origin)) return reply.code(403).send(EXTENSIONS_ONLY);
    return reply
      .header('cache-control', 'no-store')
      .send({ state: pairings.stateOf(origin, secretOf(request), performance.now()) });
  });
  app.post(PAIRING_ROUTE, (request, reply) => {
    const { origin } = request.headers;
    // An extension asks from the machine on which the wearer reads the code.
    if (!isExtension(origin) || !isLoopback(request.ip.replace(/^::ffff:/, ''))) {
      return reply.code(403).send(EXTENSIONS_ONLY);
    }
    const answer = pairings.ask(origin, performance.now());
    if (!('secret' in answer)) return reply.code(409).send(answer);
    logEvent(logger, 'extension.asks', { origin });
    return reply.header('cache-control', 'no-store').send(answer);
  });

  app.get('/pairings', (_request, reply) =>
    reply.header('cache-control', 'no-store').send(pairings.list(performance.now())),
  );
  app.post<{ Body: { code?: unknown } | null }>('/pairings/confirm', (request, reply) => {
    if (!request.wearer) return reply.code(403).send(WEARER_ONLY);
    const code = request.body?.code;
    if (typeof code !== 'string') return reply.code(400).send(NO_CODE);
    const answer = pairings.confirm(code, performance.now());
    if (!('origin' in answer)) return reply.code(answer.code === 'tryAgain' ? 409 : 403).send(answer);
    logEvent(logger, 'extension.paired', { origin: answer.origin });
    return reply.send(answer);
  });
  app.delete<{ Querystring: { origin?: string } }>('/pairings', (request, reply) => {
    if (!request.wearer) return reply.code(403).send(WEARER_ONLY);
    const { origin = '' } = request.query;
    if (!pairings.withdraw(origin)) return reply.code(404).send(NOT_PAIRED);
    logEvent(logger, 'extension.withdrawn', { origin });
    for (const connection of [...hub.connections]) {
      if (connection.pairedOrigin === origin) connection.close(CLOSE.policy, 'the pairing was withdrawn');
    }
    return reply.send({ origin });
  });
}

const EXTENSIONS_ONLY = {
  code: 'notPermitted',
  message: 'This is for browser extensions on the machine of the service.',
};
const WEARER_ONLY = {
  code: 'notPermitted',
  message: 'Only the wearer pairs extensions, on the page of the service, under Apps.',
};
const NO_CODE = { code: 'badMessage', message: 'Send { "code": "123456" }.' };
const NOT_PAIRED = { code: 'notSupported', message: 'No such extension is paired or asking.' };
