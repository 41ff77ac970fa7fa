import { createHash } from 'node:crypto';
import { existsSync } from 'node:fs';
import { createRequire } from 'node:module';
import { fileURLToPath } from 'node:url';
import type { Static, TSchema } from '@sinclair/typebox';
import { Ajv, type Options, type ValidateFunction } from 'ajv';

/** Whether a value is as a schema says; compiled when it is first asked for. `errors` is of the last value. */
export type SchemaCheck<T extends TSchema> = () => ValidateFunction<Static<T>>;

/** What compiles our own schemas, and the options that it was made with. */
export interface SchemaCompiler {
  readonly options: Options;
  compile(schema: TSchema): ValidateFunction;
}

/** What a check is made of. */
export interface CheckSource {
  readonly options: Options;
  readonly schema: TSchema;
}

/** Every check that was asked for so far: what there is to compile when the program is built. */
export const checkSources: CheckSource[] = [];

/** Beside the file that this is part of in the built program: one file a check, compiled. Beside the sources: none. */
const COMPILED = new URL('./checks/', import.meta.url);
const require = createRequire(import.meta.url);

/**
 * What a service of many starts can do without is left out, half of the time: tests hold the schemas against their
 * standard, and the code that is made runs on messages, not on samples.
 */
export function schemaCompiler(options: Options): SchemaCompiler {
  let ajv: Ajv | undefined;
  return {
    options,
    compile(schema) {
      ajv ??= new Ajv({ ...options, meta: false, validateSchema: false, code: { optimize: false } });
      return ajv.compile(schema);
    },
  };
}

/** Compiling takes 5 to 40 ms, and most programs need few of the checks; the built program has them compiled. */
export function schemaCheck<T extends TSchema>(compiler: SchemaCompiler, schema: T): SchemaCheck<T> {
  const source = { options: compiler.options, schema };
  checkSources.push(source);
  let check: ValidateFunction | undefined;
  return () => {
    if (!check) {
      const file = fileURLToPath(new URL(checkFile(source), COMPILED));
      check = existsSync(file) ? (require(file) as ValidateFunction) : compiler.compile(schema);
    }
    return check as ValidateFunction<Static<T>>;
  };
}

/** By what the check is made of: one for another schema is another file. */
export function checkFile({ options, schema }: CheckSource): string {
  const digest = createHash('sha256')
    .update(JSON.stringify([options, schema]))
    .digest('hex');
  return `${digest.slice(0, 20)}.cjs`;
}
