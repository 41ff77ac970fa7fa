import { createHash, randomBytes, randomInt, timingSafeEqual } from 'node:crypto';
import {
  EXTENSION_ORIGIN,
  MOST_PAIRINGS,
  type Pairing,
  readPairings,
  writePairings,
} from '../config/pairing-file.js';
import type { Refusal } from '../protocol/refusals.js';

/**
 * Browser extensions that may see the hands. An extension asks, gets a secret that is worth nothing yet, and shows its
 * user a code of six digits. The wearer types that code on the page of the service: then the secret counts, together
 * with the origin that the browser sends. A code that is typed cannot be a click that was lured away, and is of the
 * extension that the wearer has before their eyes.
 *
 *   extension ── POST /pairing ──> code, secret        wearer ── code ──> POST /pairings/confirm ──> the file
 */
export interface Pairings {
  /** An extension asks to be paired; an earlier question of the same one is forgotten. */
  ask(origin: string, nowMs: number): { code: string; secret: string; expiresInS: number } | Refusal;
  /** How far an extension has got that has this secret. */
  stateOf(origin: string, secret: string | undefined, nowMs: number): 'paired' | 'asking' | 'unknown';
  /** Whether an extension with this secret may see the hands. */
  admits(origin: string, secret: string | undefined): boolean;
  list(nowMs: number): PairingList;
  /** The wearer has typed a code. */
  confirm(code: string, nowMs: number): { origin: string } | Refusal;
  /** Drops a question, or ends a pairing. @returns whether there was any */
  withdraw(origin: string): boolean;
}

export interface PairingList {
  /** False: this service keeps no pairings. */
  kept: boolean;
  /** Why the file is not used. */
  trouble?: string;
  asking: { origin: string; expiresInS: number }[];
  paired: { origin: string; since: string }[];
}

/** A question, until it is answered. */
const ASKING_MS = 120_000;
const MOST_ASKING = 3;
/** Wrong codes after which nobody is asking any more. */
const WRONG_CODES = 5;

interface Question {
  origin: string;
  code: string;
  digest: string;
  untilMs: number;
}

/** Where an extension asks, before it is paired; open to extensions alone, and without a token. */
export const PAIRING_ROUTE = '/pairing';
/** Where it asks how far it has got. */
export const PAIRING_STATE_ROUTE = '/pairing/state';

export function isExtension(origin: string | undefined): origin is string {
  return origin !== undefined && EXTENSION_ORIGIN.test(origin);
}

/**
 * @param file where pairings are kept; undefined: nothing can be paired. It is read at each question, so that what one
 *   service or an editor changes counts at once for all
 */
export function createPairings(file: string | undefined): Pairings {
  const questions = new Map<string, Question>();
  let wrongCodes = 0;

  const askingAt = (nowMs: number): Question[] => {
    for (const [origin, { untilMs }] of questions) if (nowMs >= untilMs) questions.delete(origin);
    return [...questions.values()];
  };
  const admits = (origin: string, secret: string | undefined): boolean => {
    if (file === undefined || secret === undefined) return false;
    const given = digest(secret);
    return kept(file).list.some((pairing) => pairing.origin === origin && same(pairing.digest, given));
  };

  return {
    ask(origin, nowMs) {
      if (file === undefined) return NOT_HERE;
      questions.delete(origin);
      const asking = askingAt(nowMs);
      if (asking.length >= MOST_ASKING) return CROWDED;
      let code: string;
      do code = String(randomInt(1_000_000)).padStart(6, '0');
      while (asking.some((one) => one.code === code));
      const secret = randomBytes(24).toString('base64url');
      questions.set(origin, { origin, code, digest: digest(secret), untilMs: nowMs + ASKING_MS });
      return { code, secret, expiresInS: ASKING_MS / 1000 };
    },
    stateOf(origin, secret, nowMs) {
      if (admits(origin, secret)) return 'paired';
      const question = askingAt(nowMs).find((one) => one.origin === origin);
      return question && secret !== undefined && same(question.digest, digest(secret)) ? 'asking' : 'unknown';
    },
    admits,
    list(nowMs) {
      const { list, trouble } = file === undefined ? { list: [] } : kept(file);
      return {
        kept: file !== undefined,
        ...(trouble === undefined ? {} : { trouble }),
        asking: askingAt(nowMs).map(({ origin, untilMs }) => ({
          origin,
          expiresInS: Math.ceil((untilMs - nowMs) / 1000),
        })),
        paired: list.map(({ origin, since }) => ({ origin, since })),
      };
    },
    confirm(code, nowMs) {
      if (file === undefined) return NOT_HERE;
      const asking = askingAt(nowMs);
      if (asking.length === 0) return NOBODY_ASKS;
      const question = asking.find((one) => same(one.code, code.replaceAll(/\s/g, '')));
      if (!question) {
        if (++wrongCodes < WRONG_CODES) return WRONG_CODE;
        wrongCodes = 0;
        questions.clear();
        return TOO_MANY_WRONG;
      }
      const { list, trouble } = kept(file);
      if (trouble !== undefined) return { code: 'notPermitted', message: trouble };
      const { origin, digest } = question;
      const others = list.filter((pairing) => pairing.origin !== origin).slice(1 - MOST_PAIRINGS);
      try {
        writePairings(file, [...others, { origin, digest, since: new Date().toISOString() }]);
      } catch (error) {
        return { code: 'notPermitted', message: (error as Error).message };
      }
      wrongCodes = 0;
      questions.delete(origin);
      return { origin };
    },
    withdraw(origin) {
      const asked = questions.delete(origin);
      if (file === undefined) return asked;
      const { list } = kept(file);
      const left = list.filter((pairing) => pairing.origin !== origin);
      if (left.length === list.length) return asked;
      writePairings(file, left);
      return true;
    },
  };
}

/** A file that cannot be used admits nobody. */
function kept(file: string): { list: Pairing[]; trouble?: string } {
  try {
    return { list: readPairings(file) };
  } catch (error) {
    const { message, remedy } = error as Error & { remedy?: string };
    return { list: [], trouble: remedy === undefined ? message : `${message} ${remedy}` };
  }
}

const digest = (text: string): string => createHash('sha256').update(text).digest('hex');
const same = (one: string, other: string): boolean =>
  one.length === other.length && timingSafeEqual(Buffer.from(one), Buffer.from(other));

const NOT_HERE: Refusal = { code: 'notSupported', message: 'This service keeps no pairings.' };
const CROWDED: Refusal = {
  code: 'tooMany',
  message:
    'Other extensions are asking already: answer or refuse them on the page of the service, under Apps.',
};
const NOBODY_ASKS: Refusal = {
  code: 'tryAgain',
  message: 'No extension is asking now. A code is good for two minutes: ask for another in the extension.',
};
const WRONG_CODE: Refusal = {
  code: 'notPermitted',
  message: 'No extension shows this code. Type the six digits that the extension shows.',
};
const TOO_MANY_WRONG: Refusal = {
  code: 'notPermitted',
  message: 'Too many wrong codes: no extension is asking any more. Ask for another code in the extension.',
};
