import type { FastifyInstance } from 'fastify';

/**
 * For routes of which a request says all that it asks for in its address: whatever body a client sends along, of whatever
 * type, is read past.
 */
export function ignoreBodies(scope: FastifyInstance): void {
  scope.removeAllContentTypeParsers();
  scope.addContentTypeParser('*', (_request, payload, done) => {
    payload.resume();
    done(null);
  });
}
