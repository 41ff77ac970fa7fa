import { Type } from '@sinclair/typebox';
import { Ajv } from 'ajv';
import { expect, it } from 'vitest';
import { ProfileSchema } from '../../src/config/schema.js';
import { schemaCheck, schemaCompiler } from '../../src/config/schema-check.js';
import { AppMessages } from '../../src/protocol/messages.js';
import {
  FitsSchema,
  GloveSchema,
  MarkSchema,
  RequestSchema,
  SessionSchema,
  StatusSchema,
} from '../../src/recording/format.js';

const OURS = {
  ProfileSchema,
  FitsSchema,
  GloveSchema,
  MarkSchema,
  RequestSchema,
  SessionSchema,
  StatusSchema,
  ...AppMessages,
};

// JSON Schema draft-07's own schema, as the ajv package carries it: it is not looked at when a program starts.
it.each(Object.entries(OURS))('%s is a JSON Schema', (_, schema) => {
  const ajv = new Ajv();
  expect(ajv.validateSchema(schema), ajv.errorsText(ajv.errors)).toBe(true);
});

it('tells what is wrong with the last value, and compiles once', () => {
  const check = schemaCheck(schemaCompiler({ allErrors: true }), Type.Object({ count: Type.Integer() }));
  expect(check()).toBe(check());
  expect(check()({ count: 3 })).toBe(true);
  expect(check()({ count: 'three' })).toBe(false);
  expect(check().errors).toMatchObject([{ instancePath: '/count', keyword: 'type' }]);
});
