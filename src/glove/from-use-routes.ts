import type { FastifyInstance } from 'fastify';
import { TautlineError } from '../errors.js';
import type { Learned } from '../guide/from-use/learn.js';
import { onlyTheWearer } from '../protocol/refusals.js';
import type { LiveGlove } from './glove.js';
import { keep, mustBeShown, personOf, plain, withGloveOf } from './guide-requests.js';
import { ignoreBodies } from './ignore-bodies.js';
import { fromUseOf } from './use-learner.js';

/** What GET /fits/from-use answers. */
export interface FromUseAnswer extends Learned {
  hand: string;
  glove: string;
}

/**
 * The fit that a glove has learned by looking on. Only the wearer takes it: the page or the command line.
 *
 *   GET  /fits/from-use               what would be changed, how sure that is, and what has not been seen yet
 *   POST /fits/from-use?person=NAME   use what was last read, and keep it; undone like every other fit
 */
export function addFromUseRoutes(app: FastifyInstance, gloves: readonly LiveGlove[]): void {
  const withGlove = withGloveOf(gloves);
  app.register(async (scope) => {
    ignoreBodies(scope);
    scope.get(
      '/fits/from-use',
      withGlove(async (glove): Promise<FromUseAnswer> => {
        mustBeShown(glove);
        return answer(glove, await glove.learner.learn());
      }),
    );
    scope.post(
      '/fits/from-use',
      withGlove(async (glove, { person }, { wearer }): Promise<FromUseAnswer> => {
        mustBeShown(glove);
        if (!wearer) {
          throw new TautlineError(
            onlyTheWearer('').code,
            'Only the wearer takes a fit into use.',
            'Take it on the page, or with `tautline fit --from-use`.',
          );
        }
        if (glove.guide.running()) {
          throw new TautlineError('tooMany', 'The wearer is being led through moves.', 'Let it end first.');
        }
        const { learned } = glove.learner;
        if (!learned || fromUseOf(learned) === undefined) {
          throw new TautlineError(
            'notSupported',
            'There is no fit from use to take.',
            'Ask what was seen with `tautline fit --from-use`.',
          );
        }
        const offered = learned.channels.map(({ uncertaintyDeg, differsDeg: _, turned: __, ...channel }) => ({
          ...plain(channel),
          residualDeg: uncertaintyDeg,
        }));
        const controls = learned.controls.map(({ uncertaintyPart: _, differsPart: __, ...control }) => ({
          ...control,
          residualDeg: 0,
        }));
        const changed = [...offered, ...controls];
        // A fit holds all of a glove's sensors: those that stay as they are stay in it.
        const others = (glove.fitsInUse.channels?.channels ?? []).filter(
          ({ role }) => !changed.some((one) => one.role === role),
        );
        const square = offered.reduce((sum, { residualDeg }) => sum + residualDeg ** 2, 0);
        keep(glove, personOf(glove, person), {
          channels: [...others, ...changed],
          residualDeg: Math.sqrt(square / Math.max(1, offered.length)),
          fromUse: true,
          ...deadZone(learned.stickDeadZone ?? glove.fitsInUse.channels?.stickDeadZone),
        });
        await glove.refit();
        return answer(glove, learned);
      }),
    );
  });
}

const deadZone = (stickDeadZone: number | undefined) =>
  stickDeadZone === undefined ? {} : { stickDeadZone };

const answer = ({ description: { hand, name } }: LiveGlove, learned: Learned): FromUseAnswer => ({
  hand,
  glove: name,
  ...learned,
});
