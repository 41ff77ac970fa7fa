/**
 * The AsyncAPI document against the format's own parser, `@asyncapi/parser` (it validates against the AsyncAPI 3.0.0
 * JSON Schema and its rules).
 */
import { readFileSync } from 'node:fs';
import { Parser } from '@asyncapi/parser';
import { Ajv } from 'ajv';
import { expect, it } from 'vitest';
import { OUTPUTS } from '../../scripts/generate.js';
import { AppMessages, ServerMessages } from '../../src/protocol/messages.js';
import { asyncApiDocument } from '../../src/stream/asyncapi.js';
import { EXAMPLES } from '../../src/stream/examples.js';
import { serve } from '../stream/app.js';

it('is a valid AsyncAPI 3 document without any error', async () => {
  const { document, diagnostics } = await new Parser().parse(JSON.stringify(asyncApiDocument()));
  expect(diagnostics.filter(({ severity }) => severity === 0).map(({ message }) => message)).toEqual([]);
  const names = document!
    .messages()
    .all()
    .map((message) => message.name());
  expect(new Set(names)).toEqual(
    new Set([...Object.keys(AppMessages), ...Object.keys(ServerMessages), 'jointsRecord']),
  );
});

it('finds an error in a document that has one', async () => {
  const { channels: _, ...broken } = asyncApiDocument();
  const { diagnostics } = await new Parser().parse(JSON.stringify(broken));
  expect(diagnostics.some(({ severity }) => severity === 0)).toBe(true);
});

it('is served by the stream', async () => {
  const stream = await serve([]);
  const answer = await fetch(`${stream.address}/asyncapi.json`);
  expect(await answer.json()).toEqual(JSON.parse(JSON.stringify(asyncApiDocument())));
  await stream.close();
});

it.each(['docs/asyncapi.json', 'docs/protocol.md'])('%s is up to date (npm run generate)', (path) => {
  expect(readFileSync(path, 'utf8')).toBe(OUTPUTS[path]());
});

it.each(Object.entries(EXAMPLES))('the example of %s obeys its schema', (type, example) => {
  const ajv = new Ajv({ strict: true, strictTypes: false, strictTuples: false });
  expect(ajv.validate(AppMessages[type as keyof typeof AppMessages], example)).toBe(true);
});
