import type { FastifyInstance, FastifyReply } from 'fastify';
import type { LiveGlove } from '../glove.js';
import type { GuideTask } from '../glove-guide.js';

const TASKS: readonly string[] = ['check'] satisfies GuideTask[];

interface Asked {
  Querystring: { hand?: string; task?: string };
}

/**
 * The guided check over HTTP, for the command line and for pages. Every answer is the state of the guide.
 *
 *   POST /guide?task=check   begin; forces are taken away
 *   GET  /guide              the present move, or the findings
 *   POST /guide/next         the wearer made the move
 *   POST /guide/stop         give up
 *
 * `hand=left|right` tells gloves apart when there are two.
 */
export function addGuideRoutes(app: FastifyInstance, gloves: readonly LiveGlove[]): void {
  const withGlove =
    (act: (glove: LiveGlove, query: Asked['Querystring'], reply: FastifyReply) => unknown) =>
    (request: { query: unknown }, reply: FastifyReply) => {
      const query = request.query as Asked['Querystring'];
      const { hand } = query;
      const fitting = gloves.filter(({ description }) => hand === undefined || description.hand === hand);
      reply.header('cache-control', 'no-store');
      if (fitting.length === 1) return act(fitting[0], query, reply) ?? fitting[0].guide.read();
      const hands = gloves.map(({ description }) => description.hand).join(' and ');
      const message =
        fitting.length === 0
          ? `There is no glove for the ${hand} hand; the profile has: ${hands}.`
          : 'There are two gloves: name one with hand=left or hand=right.';
      return reply.code(fitting.length === 0 ? 404 : 400).send({ code: 'unknownHand', message });
    };

  app.register(async (scope) => {
    // Requests are in the address; a body is not looked at.
    scope.removeAllContentTypeParsers();
    scope.addContentTypeParser('*', (_request, payload, done) => {
      payload.resume();
      done(null);
    });
    scope.get(
      '/guide',
      withGlove(() => undefined),
    );
    scope.post(
      '/guide',
      withGlove((glove, { task }, reply) => {
        if (task === undefined || !TASKS.includes(task)) {
          return reply.code(400).send({ code: 'usage', message: `task is one of: ${TASKS.join(', ')}.` });
        }
        if (!glove.frame.valid) {
          const message = glove.frame.reason ?? 'The glove sends nothing.';
          return reply.code(409).send({ code: 'notSupported', message });
        }
        // Nobody may be held while he is asked to move.
        glove.disarm(`the ${task}`);
        glove.guide.start(task as GuideTask);
        return undefined;
      }),
    );
    scope.post(
      '/guide/next',
      withGlove(({ guide }) => {
        guide.next();
      }),
    );
    scope.post(
      '/guide/stop',
      withGlove(({ guide }) => {
        guide.stop('Stopped by the wearer.');
      }),
    );
  });
}
