import type { Static, TSchema } from '@sinclair/typebox';
import { Ajv, type Options, type ValidateFunction } from 'ajv';

/** Whether a value is as a schema says; compiled when it is first asked for. `errors` is of the last value. */
export type SchemaCheck<T extends TSchema> = () => ValidateFunction<Static<T>>;

/**
 * A compiler of our own schemas. What a service of many starts can do without is left out, half of the time: tests
 * hold the schemas against their standard, and the code that is made runs on messages, not on samples.
 */
export const schemaCompiler = (options: Options): Ajv =>
  new Ajv({ ...options, meta: false, validateSchema: false, code: { optimize: false } });

/** Compiling takes some 5 to 20 ms, and most programs need few of the checks. */
export function schemaCheck<T extends TSchema>(compiler: Ajv, schema: T): SchemaCheck<T> {
  let check: ValidateFunction<Static<T>> | undefined;
  return () => {
    check ??= compiler.compile<Static<T>>(schema);
    return check;
  };
}
