import { readFileSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import { resolve } from 'node:path';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { bringBackTokens, HIDDEN_TOKEN, hideTokens } from '../config/hidden-tokens.js';
import { type LocatedProblem, problemsOfProfile } from '../config/load.js';
import { digestOf, saveProfile } from '../config/profile-file.js';
import { MAX_PROFILE_BYTES } from '../config/yaml.js';
import { TautlineError } from '../errors.js';

/** What GET /profile answers. */
export interface ProfileAnswer {
  /** Where it is; absent: it comes with the program, and is only looked at. */
  file?: string;
  /** Tokens in it are hidden. */
  text: string;
  /** To be given back with what is saved. */
  digest: string;
  /** It is not what the service started with: it takes effect at the next start. */
  changed: boolean;
}
/** What GET /profile/in-use answers: what the service was started with, for `tautline status`. */
export interface ProfileInUse {
  /** A file of the user's; the simulated glove that comes with the program; a recording, which brings its own. */
  kind: 'file' | 'simulated' | 'recording';
  /** Whole path. */
  file?: string;
  /** The file is not what the service started with: it takes effect at the next start. */
  changed?: boolean;
}
/** What POST /profile/check answers. */
export interface ProfileCheck {
  problems: LocatedProblem[];
}
/** What POST /profile answers. */
export interface ProfileSaved {
  backup: string;
  digest: string;
}

export interface ProfileRoutesOptions {
  /** The profile that the service was started with; undefined: none of the user's. */
  file: string | undefined;
  /** Shown then, and never written. */
  shippedFile: string | undefined;
}

/**
 * The profile in use, for the wearer alone: nobody else reads or writes it, and no token in it leaves the service. A
 * profile that is saved takes effect at the next start; nothing here acts on a glove.
 *
 *   GET  /profile          text, with its tokens hidden
 *   GET  /profile/in-use   where it is, and whether it has been changed since
 *   POST /profile/check    { text } -> what is wrong with it, and where
 *   POST /profile          { text, digest } -> saved, the old one kept beside it; refused while anything is wrong with it
 */
export function addProfileRoutes(app: FastifyInstance, { file, shippedFile }: ProfileRoutesOptions): void {
  const shown = file ?? shippedFile;
  const startedWith = shown === undefined ? undefined : read(shown);
  /** One is written after the other. */
  let saving: Promise<unknown> = Promise.resolve();

  const ofWearer =
    <T>(act: (body: { text?: unknown; digest?: unknown }) => Promise<T>) =>
    async (request: FastifyRequest, reply: FastifyReply): Promise<T | FastifyReply> => {
      reply.header('cache-control', 'no-store');
      try {
        if (!request.wearer) {
          throw new TautlineError('notPermitted', 'This is for the page of the wearer alone.');
        }
        return await act((request.body ?? {}) as { text?: unknown; digest?: unknown });
      } catch (error) {
        if (!(error instanceof TautlineError)) throw error;
        const problems = error.code === 'profileInvalid' ? { details: error.details } : {};
        return reply
          .code(STATUS[error.code] ?? 400)
          .send({ code: error.code, message: error.line, ...problems });
      }
    };

  async function now(): Promise<string> {
    if (shown === undefined) {
      throw new TautlineError('notSupported', 'This service was started without a profile of its own.');
    }
    return readFile(shown, 'utf8').catch((error: NodeJS.ErrnoException) => {
      throw new TautlineError('fileNotFound', `${shown} cannot be read (${error.code}).`);
    });
  }

  app.get(
    '/profile',
    ofWearer(async (): Promise<ProfileAnswer> => {
      const whole = await now();
      const text = hideTokens(whole);
      if (text === undefined) {
        throw new TautlineError(
          'notSupported',
          'A token of this profile also stands elsewhere in it, in a comment perhaps: it is not shown.',
          'Take it out there with a text editor.',
        );
      }
      return {
        ...(file === undefined ? {} : { file }),
        text,
        digest: digestOf(whole),
        changed: startedWith !== undefined && whole !== startedWith,
      };
    }),
  );
  app.get(
    '/profile/in-use',
    ofWearer(async (): Promise<ProfileInUse> => {
      if (file === undefined) return { kind: shown === undefined ? 'recording' : 'simulated' };
      // A file that is gone has changed as well.
      return { kind: 'file', file: resolve(file), changed: read(file) !== startedWith };
    }),
  );
  app.post(
    '/profile/check',
    ofWearer(async ({ text }): Promise<ProfileCheck> => {
      const given = textOf(text);
      const whole = bringBackTokens(given, await now());
      return { problems: whole === undefined ? [STRANGE_TOKEN] : problemsOfProfile(whole) };
    }),
  );
  app.post(
    '/profile',
    ofWearer(async ({ text, digest }): Promise<ProfileSaved> => {
      const given = textOf(text);
      if (file === undefined) {
        throw new TautlineError(
          'notSupported',
          'The profile of the simulated glove comes with the program, and stays as it is.',
          'Download it, change it, and start the service with --profile FILE.',
        );
      }
      if (typeof digest !== 'string')
        throw new TautlineError('badMessage', 'digest is that of GET /profile.');
      const mine = saving.then(async () => {
        const whole = bringBackTokens(given, await now());
        const problems = whole === undefined ? [STRANGE_TOKEN] : problemsOfProfile(whole);
        if (whole === undefined || problems.length > 0) {
          const [{ line, text: what }] = problems;
          throw new TautlineError('profileInvalid', `Line ${line}: ${what}`, undefined, {
            details: problems.map((problem) => `${problem.line}:${problem.column}: ${problem.text}`),
          });
        }
        return { backup: await saveProfile(file, whole, digest), digest: digestOf(whole) };
      });
      saving = mine.catch(() => {});
      return mine;
    }),
  );
}

const STRANGE_TOKEN: LocatedProblem = {
  line: 1,
  column: 1,
  path: 'stream',
  text: `A token is ${HIDDEN_TOKEN}, and the profile has none of that app: write the token itself.`,
};

function textOf(text: unknown): string {
  if (typeof text !== 'string') throw new TautlineError('badMessage', 'text is the text of a profile.');
  if (Buffer.byteLength(text) > MAX_PROFILE_BYTES) {
    throw new TautlineError('tooLarge', `A profile has at most ${MAX_PROFILE_BYTES / 1024} kB.`);
  }
  return text;
}

const STATUS: Partial<Record<string, number>> = {
  notPermitted: 403,
  fileNotFound: 404,
  notSupported: 409,
  tryAgain: 409,
  fileDenied: 409,
  profileInvalid: 422,
  tooLarge: 413,
  diskFull: 507,
};

function read(file: string): string | undefined {
  try {
    return readFileSync(file, 'utf8');
  } catch {
    return undefined;
  }
}
