import type { FastifyReply } from 'fastify';
import type { SavedFit } from '../config/fit-file.js';
import { TautlineError } from '../errors.js';
import type { FittedRange } from '../guide/channel-shape.js';
import type { Finding } from '../guide/report.js';
import { noGloveFor, RECORDED } from '../protocol/refusals.js';
import type { LiveGlove } from './glove.js';

/** What the routes of guide and fits share: which glove is meant, whose fit it is, where it is kept. */

export interface Query {
  hand?: string;
  task?: string;
  person?: string;
  leader?: string;
  by?: string;
  part?: string;
  savedAt?: string;
}
export type Act = (glove: LiveGlove, query: Query, request: { body?: unknown; wearer: boolean }) => unknown;

export const LONGEST_NAME = 40;

/** Finds the glove that a request means, and turns what goes wrong into an answer. */
export const withGloveOf =
  (gloves: readonly LiveGlove[]) =>
  (act: Act) =>
  async (
    request: { query: unknown; body?: unknown; wearer: boolean },
    reply: FastifyReply,
  ): Promise<unknown> => {
    const query = request.query as Query;
    const { hand } = query;
    const fitting = gloves.filter(({ description }) => hand === undefined || description.hand === hand);
    reply.header('cache-control', 'no-store');
    try {
      if (fitting.length === 1) return await act(fitting[0], query, request);
      throw new TautlineError(
        'unknownHand',
        fitting.length === 0
          ? noGloveFor(
              hand,
              gloves.map(({ description }) => description.hand),
            ).message
          : 'There are two gloves: name one with hand=left or hand=right.',
      );
    } catch (error) {
      if (!(error instanceof TautlineError)) throw error;
      return reply.code(STATUS[error.code] ?? 400).send({ code: error.code, message: error.line });
    }
  };

const STATUS: Partial<Record<string, number>> = {
  notPermitted: 403,
  unknownHand: 404,
  notSupported: 409,
  tooMany: 409,
  tryAgain: 409,
  internal: 500,
};

/** Nothing is done to a glove that a replay hides. @throws TautlineError while one is shown */
export function mustBeShown(glove: LiveGlove): void {
  if (glove.recorded || glove.replaced) throw new TautlineError(RECORDED.code, RECORDED.message);
}

export function storeOf({ fits }: LiveGlove) {
  if (!fits) throw new TautlineError('notSupported', 'This service keeps no fits.');
  return fits;
}

/** Whose fit: the name given, or the present wearer, or the one in the store. */
export function personOf(glove: LiveGlove, given: string | undefined): string {
  const name = given?.trim();
  if (name !== undefined && (name === '' || name.length > LONGEST_NAME || /\p{C}/u.test(name))) {
    throw new TautlineError('usage', `person is a name of at most ${LONGEST_NAME} characters.`);
  }
  const { hand, name: gloveName } = glove.description;
  return name ?? glove.fits?.person ?? glove.fits?.current(gloveName, hand).channels?.person ?? 'wearer';
}

/** @returns the fit as it is kept */
export function keep(
  glove: LiveGlove,
  person: string,
  what: Pick<
    SavedFit,
    'channels' | 'actuators' | 'residualDeg' | 'skeleton' | 'mount' | 'feel' | 'fromUse' | 'stickDeadZone'
  >,
): SavedFit {
  const { hand, name } = glove.description;
  const store = storeOf(glove);
  const fit = { savedAt: freeTime(store.entries), person, glove: name, hand, ...what };
  store.add(fit);
  return fit;
}

/** Keeps what was found, and uses it; once, however often it is asked for. */
export async function keepFound(
  glove: LiveGlove,
  found: Finding,
  what: () => Parameters<typeof keep>[2],
): Promise<void> {
  if (found.accepted) return;
  found.keptAt = keep(glove, found.person, what()).savedAt;
  found.accepted = true;
  await glove.refit();
}

/** Now, or as soon after as none was kept: it tells them apart. */
function freeTime(entries: readonly SavedFit[]): string {
  const taken = new Set(entries.map(({ savedAt }) => savedAt));
  let atMs = Date.now();
  while (taken.has(new Date(atMs).toISOString())) atMs++;
  return new Date(atMs).toISOString();
}

/** Free of what is read-only, as a file of fits has it. */
export const plain = <T extends FittedRange>(fit: T) => ({
  ...fit,
  curve: fit.curve?.map(([counts, value]): [number, number] => [counts, value]),
});
