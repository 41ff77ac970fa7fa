import { readdirSync, readFileSync } from 'node:fs';
import { createRequire, SourceMap } from 'node:module';
import { join, resolve } from 'node:path';
import type { TSchema } from '@sinclair/typebox';
import type { ValidateFunction } from 'ajv';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { programChecks } from '../../scripts/compiled-checks.js';
import { type CheckSource, checkFile, schemaCompiler } from '../../src/config/schema-check.js';
import { EXAMPLES } from '../../src/stream/examples.js';

/** The program as it is built: dist/ is built by the setup of the tests. */
const PROGRAM = 'dist/program';
const require = createRequire(import.meta.url);
const checks = await programChecks();

/** Values to begin with: what the schema itself gives, the examples of messages, the profiles that come along. */
const profiles = readdirSync('config').filter((name) => name.endsWith('.yaml'));
const KNOWN: unknown[] = [
  ...Object.values(EXAMPLES),
  ...profiles.map((name) => parse(readFileSync(join('config', name), 'utf8'))),
];

const TEXTS = ['a', 'abc', '0', '1a2b', '0123456789abcdef'];

/** A value that is as the schema says, with all that it may have. */
function exampleOf(schema: TSchema): unknown {
  const {
    const: only,
    enum: words,
    anyOf,
    oneOf,
    type,
    minimum = 0,
    exclusiveMinimum,
    properties = {},
  } = schema;
  if (only !== undefined) return only;
  if (words !== undefined) return words[0];
  if (anyOf ?? oneOf) return exampleOf((anyOf ?? oneOf)[0]);
  switch (type) {
    case 'object':
      return Object.fromEntries(
        Object.entries(properties).map(([key, of]) => [key, exampleOf(of as TSchema)]),
      );
    case 'array':
      return Array.from({ length: schema.minItems ?? 0 }, (_, i) =>
        exampleOf(Array.isArray(schema.items) ? schema.items[i] : schema.items),
      );
    case 'string':
      return TEXTS.map((text) => text.padEnd(schema.minLength ?? 0, text)).find((text) =>
        new RegExp(schema.pattern ?? '').test(text),
      );
    case 'number':
    case 'integer':
      return exclusiveMinimum === undefined ? minimum : exclusiveMinimum + 1;
    case 'boolean':
      return true;
    default:
      return null;
  }
}

/** A value with one of its parts put out of order. */
function spoiled(value: unknown, at: readonly number[], by: unknown): unknown {
  if (at.length === 0 || typeof value !== 'object' || value === null) return by;
  const [first, ...further] = at;
  const copy = structuredClone(value) as Record<string, unknown>;
  const keys = Object.keys(copy);
  // One further than there is: something that nobody knows.
  const key = keys[first % (keys.length + 1)] ?? (Array.isArray(copy) ? String(keys.length) : 'unknown');
  if (by === undefined && further.length === 0) delete copy[key];
  else copy[key] = spoiled(copy[key], further, by);
  return copy;
}

/** What a check says of a value, and makes of it. */
function verdict(check: ValidateFunction, value: unknown): string {
  const data = structuredClone(value);
  const valid = check(data);
  return JSON.stringify({ valid, errors: check.errors, data });
}

describe('checks that are compiled at the build', () => {
  it('are all of the program', () => {
    expect(checks.length).toBeGreaterThan(15);
    const files = [...new Set(checks.map(checkFile))].sort();
    expect(readdirSync(join(PROGRAM, 'checks')).sort()).toEqual(files);
  });

  const nameOf = ({ schema }: CheckSource) => schema.description ?? Object.keys(schema.properties).join();
  it.each(checks.map((check) => [nameOf(check), check] as const))(
    'say the same as those made on the spot: %s',
    (_, source) => {
      const built = require(resolve(PROGRAM, 'checks', checkFile(source))) as ValidateFunction;
      const made = schemaCompiler(source.options).compile(source.schema);
      const values = [...KNOWN, exampleOf(source.schema)];
      for (const value of values) expect(verdict(built, value)).toBe(verdict(made, value));
      expect(values.some((value) => made(structuredClone(value)))).toBe(true);
      fc.assert(
        fc.property(
          fc.constantFrom(...values),
          fc.array(fc.nat(12), { minLength: 1, maxLength: 5 }),
          fc.option(fc.jsonValue({ maxDepth: 1 }), { nil: undefined }),
          (value, at, by) => {
            const wrong = spoiled(value, at, by);
            expect(verdict(built, wrong)).toBe(verdict(made, wrong));
          },
        ),
        { numRuns: 100 },
      );
    },
  );
});

/** A file and all that it imports when it is loaded. */
function loadedWith(file: string, seen = new Set<string>()): Set<string> {
  if (seen.has(file)) return seen;
  seen.add(file);
  for (const [, path] of readFileSync(file, 'utf8').matchAll(
    /^(?:import|export)[^'"\n]*?["'](\.[^"']+)["']/gm,
  ))
    loadedWith(join(file, '..', path), seen);
  return seen;
}

describe('the built program', () => {
  it('is loaded in few files, and no command loads the service that does not need it', () => {
    const service = loadedWith(join(PROGRAM, 'service.js'));
    expect(service.size).toBeLessThanOrEqual(5);
    const commands = loadedWith(join(PROGRAM, 'command-line.js'));
    expect(commands.size).toBeLessThanOrEqual(4);
    for (const file of [...commands, ...loadedWith('dist/link/ble-process.js')])
      expect(file).not.toMatch(/service\.js$/);
    // Nothing is compiled before the place is known where that is kept.
    expect([...loadedWith('dist/main.js')].sort()).toEqual(['dist/main.js', join(PROGRAM, 'places.js')]);
  });

  it('keeps the constants of a file constants: the frame loop is 8 % slower without', () => {
    const text = readFileSync(join(PROGRAM, 'service.js'), 'utf8');
    expect(text).toMatch(/^const CHAIN_START = \[/m);
    expect(text).toMatch(/^const DOF_MAX = /m);
  });

  it('leads from a line of a stack trace to the line that was written', () => {
    const lines = (file: string) => readFileSync(file, 'utf8').split('\n');
    const map = new SourceMap(JSON.parse(readFileSync(join(PROGRAM, 'service.js.map'), 'utf8')));
    const built = lines(join(PROGRAM, 'service.js'));
    for (const [text, file] of [
      ['function createGlove(', 'src/glove/glove.ts'],
      ['async function startService(', 'src/service.ts'],
      ['function forwardKinematics(', 'src/hand/forward.ts'],
    ]) {
      const line = built.findIndex((each) => each.includes(text));
      expect(line, text).toBeGreaterThan(0);
      const entry = map.findEntry(line, built[line].indexOf(text));
      expect(entry).toMatchObject({
        originalSource: expect.stringContaining(file),
        originalLine: lines(file).findIndex((each) => each.includes(text)),
      });
    }
  });
});
