import { readFile, stat } from 'node:fs/promises';
import { dirname, resolve } from 'node:path';
import { TautlineError } from '../errors.js';
import { packageFile } from '../package-files.js';
import { describeSchemaErrors } from './describe.js';
import type { Problem } from './problem.js';
import { checkRules } from './rules.js';
import { type FleetProfile, type Profile, ProfileSchema } from './schema.js';
import { schemaCheck, schemaCompiler } from './schema-check.js';
import { readSecretFile, refuseReadable, requireFile } from './secret-file.js';
import { readTokenFile } from './token-file.js';
import { MAX_PROFILE_BYTES, readYaml } from './yaml.js';

/** Most problems reported for one file, and most that are looked up in its text to find the first of them. */
const MAX_PROBLEMS = 10;
const MAX_LOCATED = 100;

const checkOfProfile = schemaCheck(
  schemaCompiler({
    allErrors: true,
    useDefaults: true,
    discriminator: true,
    // Each error then carries the schema that it broke, so that the messages can name the known keys.
    verbose: true,
  }),
  ProfileSchema,
);

/**
 * Reads a profile.
 * @param fileName for the messages: each starts with file:line:column
 * @param recorded what a recording keeps of the profile that it was made with: see checkRules
 * @returns the profile with every default filled in
 * @throws TautlineError `profileInvalid`: the first problem is its message, the others are its `details`
 */
export function parseProfile(text: string, fileName: string, recorded = false): Profile {
  const { data, problems, count } = readProfile(text, recorded);
  if (problems.length === 0) return plainCopy(data as Profile);
  const lines = problems.map(({ line, column, text }) => `${fileName}:${line}:${column}: ${text}`);
  const more = count - MAX_PROBLEMS;
  const [first, ...others] = lines.slice(0, MAX_PROBLEMS);
  if (more > 0) others.push(`${fileName}: ${more} more ${more === 1 ? 'problem' : 'problems'}.`);
  throw new TautlineError('profileInvalid', first, undefined, { details: others });
}

/** Something wrong with the text of a profile, where it stands; lines and columns count from 1. */
export interface LocatedProblem {
  line: number;
  column: number;
  /** Keys and indices from the root, such as `gloves.0.hand`; empty for what is not YAML. */
  path: string;
  /** What is wrong and what to do, as a sentence. */
  text: string;
}

/** What is wrong with a text, from its top down. */
export const problemsOfProfile = (text: string): LocatedProblem[] => readProfile(text, false).problems;

/** @returns what it holds with every default filled in, if nothing is wrong; `count` of all problems, located or not */
function readProfile(
  text: string,
  recorded: boolean,
): { data: unknown; problems: LocatedProblem[]; count: number } {
  const yaml = readYaml(text);
  const found = yaml.problems.length > 0 ? [] : problemsOf(yaml.data, recorded);
  const problems = [
    ...yaml.problems.map(({ offset, text }) => ({ offset, path: '', text })),
    ...found.slice(0, MAX_LOCATED).map(({ path, at, text }) => ({
      offset: yaml.offsetOf(path, at),
      path: path.join('.'),
      text,
    })),
  ]
    .sort((a, b) => a.offset - b.offset)
    .map(({ offset, path, text }) => ({
      ...yaml.lineColumn(offset),
      path,
      text: `${text}${text.endsWith('?') ? '' : '.'}`,
    }));
  return { data: yaml.data, problems, count: yaml.problems.length + found.length };
}

/** As installed: a package's own folder is not where its user is. */
export const EXAMPLES = packageFile('config');

/**
 * Reads a profile file.
 * @throws TautlineError `profileNotFound` when it cannot be read, `profileInvalid` when it breaks a rule, and what
 *   readTokenFile throws when the profile names a file for its token
 */
export async function loadProfile(path: string): Promise<Profile> {
  const profile = parseProfile(await readProfileText(path), path);
  const { stream } = profile;
  if (stream.tokenFile !== undefined) {
    stream.token = await readTokenFile(resolve(dirname(path), stream.tokenFile));
  }
  if (profile.fleet) await placeFleetFiles(profile.fleet, dirname(path));
  return profile;
}

/** Their places, from the profile's; what is wrong with them is said at once, not when the broker is met. */
async function placeFleetFiles(fleet: FleetProfile, folder: string): Promise<void> {
  for (const key of ['passwordFile', 'caFile', 'certFile', 'keyFile'] as const) {
    const named = fleet[key];
    if (named === undefined) continue;
    const file = resolve(folder, named);
    fleet[key] = file;
    if (key === 'passwordFile') await readSecretFile(file);
    else if (key === 'keyFile') await refuseReadable(file, 'key');
    else await requireFile(file);
  }
}

/** Everything wrong with the data; fills in defaults. */
function problemsOf(data: unknown, recorded: boolean): Problem[] {
  if (data === null || data === undefined) {
    return [{ path: [], at: 'value', text: 'the profile is empty; copy one of the examples in config/' }];
  }
  const check = checkOfProfile();
  const schemaProblems = check(data) ? [] : describeSchemaErrors(check.errors ?? []);
  return [...schemaProblems, ...checkRules(data, schemaProblems, recorded)];
}

/** Aliases make one object stand in several places; a profile is a tree of its own objects. */
const plainCopy = (profile: Profile): Profile => JSON.parse(JSON.stringify(profile));

/** @throws TautlineError profileNotFound, profileInvalid */
export async function readProfileText(path: string): Promise<string> {
  const cannot = (why: string, remedy: string, cause?: unknown) =>
    new TautlineError('profileNotFound', `${path}: ${why}.`, remedy, { cause });
  try {
    const file = await stat(path);
    if (file.isDirectory()) throw cannot('the profile is a directory', 'Name a file in it.');
    if (!file.isFile()) throw cannot('the profile is not a regular file', 'Name a YAML file.');
    if (file.size > MAX_PROFILE_BYTES) {
      throw new TautlineError(
        'profileInvalid',
        `${path}: the file is larger than ${MAX_PROFILE_BYTES / 1024} kB.`,
      );
    }
    return new TextDecoder('utf-8', { fatal: true }).decode(await readFile(path));
  } catch (error) {
    if (error instanceof TautlineError) throw error;
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT' || code === 'ENOTDIR') {
      throw cannot(
        'no such file',
        `Check the path, or copy one of the examples in ${EXAMPLES} there.`,
        error,
      );
    }
    if (code === 'EACCES' || code === 'EPERM') {
      throw cannot(
        'no permission to read it',
        'Change its permissions, or copy it to a place of yours.',
        error,
      );
    }
    if (error instanceof TypeError) {
      throw new TautlineError('profileInvalid', `${path}: the file is not UTF-8 text.`, 'Save it as UTF-8.');
    }
    throw cannot(`it cannot be read (${code ?? (error as Error).message})`, 'Try a copy of it.', error);
  }
}
