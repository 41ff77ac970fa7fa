import { type TSchema, Type } from '@sinclair/typebox';
import { type SchemaCheck, schemaCheck, schemaCompiler } from '../config/schema-check.js';
import type { Steps } from '../steps.js';
import { isMessageOf } from '../stream/validate.js';
import {
  ClockSchema,
  DriftSchema,
  FitsSchema,
  GloveSchema,
  type HandChannel,
  MarkSchema,
  OriginSchema,
  REQUEST_TYPES,
  RequestSchema,
  SegmentSchema,
  type SessionChannel,
  SessionSchema,
  StatusSchema,
} from './format.js';

/** Checks the contents of a session's messages: files may come from anywhere. */

type Channel = SessionChannel | HandChannel;

const compiler = schemaCompiler({ strict: false, validateFormats: false });
const check = ({ $id: _, ...schema }: TSchema): SchemaCheck<TSchema> =>
  schemaCheck(compiler, schema as TSchema);
// A recorded request is checked as the stream checks it.
const { request: _, ...aroundRequest } = RequestSchema.properties;
const CHECKS: Partial<Record<Channel, SchemaCheck<TSchema>>> = {
  session: check(SessionSchema),
  glove: check(GloveSchema),
  fits: check(FitsSchema),
  status: check(StatusSchema),
  drift: check(DriftSchema),
  mark: check(MarkSchema),
  origin: check(OriginSchema),
  clock: check(ClockSchema),
  segment: check(SegmentSchema),
  request: check(Type.Object(aroundRequest)),
};

/** Whether a message of a channel is what its schema says; of a channel without one, any object. */
export function isSoundBody(channel: Channel, body: unknown): boolean {
  if (typeof body !== 'object' || body === null) return false;
  if (!(CHECKS[channel]?.()(body) ?? true)) return false;
  return channel !== 'request' || isSoundRequest((body as { request?: unknown }).request);
}

function isSoundRequest(request: unknown): boolean {
  const type = REQUEST_TYPES.find((type) => type === (request as { type?: unknown } | undefined)?.type);
  return type !== undefined && isMessageOf(type, request);
}

/** Makes every check ready, one a step: together they would keep a running service too long. */
export function* prepareChecksSteps(): Steps<void> {
  for (const compiled of Object.values(CHECKS)) {
    compiled();
    yield;
  }
  for (const type of REQUEST_TYPES) {
    isMessageOf(type, undefined);
    yield;
  }
}
