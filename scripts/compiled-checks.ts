import { readdirSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { Ajv } from 'ajv';
import ajvStandalone from 'ajv/dist/standalone/index.js';
import { type CheckSource, checkFile, checkSources } from '../src/config/schema-check.js';

/**
 * The checks of src/config/schema-check.ts, compiled into files when the program is built: to compile the profile's
 * took some 40 ms of every start, that of an app's first message of a kind some 5 ms between the samples.
 */

// The package is CommonJS with a default export beside it.
const standaloneCode = ajvStandalone as unknown as typeof ajvStandalone.default;

/** Every check that a file of the program makes. */
export async function programChecks(): Promise<readonly CheckSource[]> {
  const files = readdirSync('src', { recursive: true, encoding: 'utf8' })
    .filter((file) => file.endsWith('.ts'))
    .map((file) => join('src', file))
    .filter((file) => /from '.*\/schema-check\.js'/.test(readFileSync(file, 'utf8')));
  for (const file of files) await import(pathToFileURL(resolve(file)).href);
  return [...checkSources];
}

/** A check as a CommonJS module, by the name of its file. */
export function compiledCheck(source: CheckSource): { file: string; code: string } {
  const ajv = new Ajv({ ...source.options, meta: false, validateSchema: false, code: { source: true } });
  // As JSON has it: what the schema's library keeps beside the standard's words is not for the check.
  const check = ajv.compile(JSON.parse(JSON.stringify(source.schema)));
  return { file: checkFile(source), code: standaloneCode(ajv, check) };
}
