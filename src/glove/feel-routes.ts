import type { FastifyInstance } from 'fastify';
import { TautlineError } from '../errors.js';
import { MOST_ROUNDS } from '../guide/feel-trial.js';
import { FINGERS, type Finger } from '../hand/joints.js';
import { actuatorFinger } from '../resistance/actuators.js';
import { startingValues } from '../resistance/starting-values.js';
import { FEEL_RANGE, FEELS, type Feel } from '../resistance/wearer-feel.js';
import type { FeelValues, GloveAnswer } from './feel-report.js';
import type { LiveGlove } from './glove.js';
import { keepFound, mustBeShown, personOf, withGloveOf } from './guide-requests.js';
import { ignoreBodies } from './ignore-bodies.js';

interface Query {
  what?: string;
  finger?: string;
  a?: string;
  b?: string;
  rounds?: string;
  which?: string;
  person?: string;
  leader?: string;
  by?: string;
}

const ROUNDS = 4;
const LONGEST_NAME = 40;

/**
 * The comparison of how forces feel over HTTP, for the command line and for pages.
 *
 *   GET  /feel/values            where to begin, per actuator, and what of the wearer's own is in use
 *   POST /feel?what=WHAT         begins: a and b are compared on a finger, in rounds; forces are taken away first, and the
 *                                wearer arms. Without a and b, those of /feel/values
 *   GET  /feel                   how far it is; which is which only at the end
 *   POST /feel/show?which=first|second           what is to be felt now
 *   POST /feel/choose?which=first|second|same    which is better, once both were felt
 *   POST /feel/stop              give up
 *   POST /feel/keep              use what was preferred, and keep it for the wearer; with which=a|b, that one
 *
 * `hand`, `leader` and `by` are as in guide-routes.ts: who begins leads, and it ends when nothing is heard of the leader.
 * What was kept is taken back by POST /fits/undo?savedAt= with the time of `found.keptAt`, and listed by GET /fits.
 */
export function addFeelRoutes(app: FastifyInstance, gloves: readonly LiveGlove[]): void {
  const withGlove = withGloveOf(gloves);
  app.register(async (scope) => {
    ignoreBodies(scope);
    scope.get(
      '/feel',
      withGlove((glove, { leader = '' }) => {
        glove.feel.heardOf(leader);
        return glove.feel.read();
      }),
    );
    scope.get(
      '/feel/values',
      withGlove((glove) => valuesOf(glove)),
    );
    scope.post(
      '/feel',
      withGlove((glove, query: Query) => begin(glove, query)),
    );
    scope.post(
      '/feel/show',
      withGlove((glove, { which, leader = '' }: Query) => {
        mustLead(glove, leader);
        glove.feel.heardOf(leader);
        glove.feel.show(oneOf('which', which, ['first', 'second'] as const));
        return glove.feel.read();
      }),
    );
    scope.post(
      '/feel/choose',
      withGlove((glove, { which, leader = '' }: Query) => {
        mustLead(glove, leader);
        glove.feel.heardOf(leader);
        const refusal = glove.feel.choose(oneOf('which', which, ['first', 'second', 'same'] as const));
        if (refusal) throw new TautlineError('notSupported', refusal);
        return glove.feel.read();
      }),
    );
    scope.post(
      '/feel/stop',
      withGlove((glove) => {
        glove.feel.stop('Stopped by the wearer.');
        return glove.feel.read();
      }),
    );
    scope.post(
      '/feel/keep',
      withGlove((glove, { which }: Query) => keepFeel(glove, which)),
    );
  });
}

function begin(glove: LiveGlove, query: Query): GloveAnswer {
  const { leader = '', by = 'a program', person } = query;
  const what = oneOf('what', query.what, FEELS);
  const finger = oneOf('finger', query.finger ?? 'index', FINGERS);
  mustBeShown(glove);
  mustLead(glove, leader);
  if (leader.length > LONGEST_NAME || by.length > LONGEST_NAME || /\p{C}/u.test(by)) {
    throw new TautlineError('usage', `leader and by have at most ${LONGEST_NAME} characters.`);
  }
  if (glove.guide.running()) {
    throw new TautlineError('tooMany', 'The wearer is led through moves already.', 'Let that end first.');
  }
  if (!glove.frame.valid) {
    throw new TautlineError('tryAgain', glove.frame.reason ?? 'The glove sends nothing.');
  }
  const rounds = query.rounds === undefined ? ROUNDS : Number(query.rounds);
  if (!Number.isInteger(rounds) || rounds < 1 || rounds > MOST_ROUNDS) {
    throw new TautlineError('usage', `rounds is a whole number from 1 to ${MOST_ROUNDS}.`);
  }
  const whose = personOf(glove, person);
  const start = startOf(glove, what, finger);
  const a = numberOf('a', what, query.a) ?? start?.value;
  const b = numberOf('b', what, query.b) ?? start?.against;
  const trouble = glove.feel.trouble(what, finger, a ?? 0, b ?? 0);
  if (trouble !== undefined || a === undefined || b === undefined) {
    throw new TautlineError('notSupported', trouble ?? 'Two values are needed: a and b.');
  }
  // Arming begins with nobody held: it is a deliberate act for this trial.
  glove.disarm('the trial of feel', 'wearer');
  glove.feel.start({ what, finger, a, b, rounds, person: whose }, { id: leader, name: by });
  return glove.feel.read();
}

async function keepFeel(glove: LiveGlove, which: string | undefined): Promise<GloveAnswer> {
  mustBeShown(glove);
  const { found } = glove.feel;
  if (!found) throw new TautlineError('notSupported', 'There is nothing to keep: make a comparison first.');
  const { revealed, what, person } = found;
  const side = which === undefined ? revealed.preferred : oneOf('which', which, ['a', 'b'] as const);
  if (side === undefined) {
    throw new TautlineError(
      'notSupported',
      'Neither was chosen more often.',
      'Name one with which=a or which=b.',
    );
  }
  await keepFound(glove, found, () => {
    const {
      tried: _,
      chosen: __,
      ...before
    } = glove.fitsInUse.feel?.person === person ? glove.fitsInUse.feel.feel! : { tried: '', chosen: [0, 0] };
    return {
      feel: {
        ...before,
        [FEEL_RANGE[what].key]: revealed[side],
        tried: what,
        chosen: [revealed.chosen[side], revealed.chosen[side === 'a' ? 'b' : 'a']],
      },
    };
  });
  return glove.feel.read();
}

function valuesOf(glove: LiveGlove): FeelValues {
  const { hand, name, feel = {} } = glove.description;
  const person = glove.fitsInUse.feel?.person;
  return {
    hand,
    glove: name,
    ...(person === undefined ? {} : { person }),
    inUse: { ...feel },
    actuators: glove.feel.actuators().map((actuator) => ({
      role: actuator.role,
      kind: actuator.kind,
      values: startingValues(actuator, glove.feel.safety, glove.feel.wire),
    })),
  };
}

function startOf(glove: LiveGlove, what: Feel, finger: Finger) {
  return glove.feel
    .actuators()
    .filter((actuator) => actuatorFinger(actuator) === FINGERS.indexOf(finger))
    .flatMap((actuator) => startingValues(actuator, glove.feel.safety, glove.feel.wire))
    .find((one) => one.what === what && one.value !== undefined);
}

function numberOf(name: string, what: Feel, text: string | undefined): number | undefined {
  if (text === undefined) return undefined;
  const { least, most, unit } = FEEL_RANGE[what];
  const value = Number(text);
  if (text.trim() === '' || !(value >= least && value <= most)) {
    throw new TautlineError('usage', `${name} is a number from ${least} to ${most} (${unit}).`);
  }
  return value;
}

function oneOf<T extends string>(name: string, given: string | undefined, known: readonly T[]): T {
  if ((known as readonly (string | undefined)[]).includes(given)) return given as T;
  throw new TautlineError('usage', `${name} is one of: ${known.join(', ')}.`);
}

/** @throws TautlineError that says who leads the trial under way */
function mustLead({ feel }: LiveGlove, id: string): void {
  const leader = feel.otherLeader(id);
  if (!leader) return;
  throw new TautlineError(
    'tooMany',
    `How forces feel is tried on this glove already, by ${leader.name}.`,
    'Let it end, or stop it there or with POST /feel/stop.',
  );
}
