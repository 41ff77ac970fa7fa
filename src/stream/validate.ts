import type { TSchema } from '@sinclair/typebox';
import type { ErrorObject } from 'ajv';
import { type SchemaCheck, schemaCheck, schemaCompiler } from '../config/schema-check.js';
import { type AppMessage, AppMessages, type AppMessageType } from '../protocol/messages.js';
import type { Refusal } from '../protocol/refusals.js';

export type Validated =
  | { ok: true; message: AppMessage }
  | { ok: false; complaint: Refusal; type?: AppMessageType; id?: string | number };

const compiler = schemaCompiler({
  allErrors: false,
  strict: true,
  strictTypes: false,
  strictTuples: false,
  verbose: true,
});
const TYPES = Object.keys(AppMessages) as AppMessageType[];
const checkOf = Object.fromEntries(
  TYPES.map((type) => [type, schemaCheck<TSchema>(compiler, AppMessages[type])]),
) as Record<AppMessageType, SchemaCheck<TSchema>>;

/** Whether a value is a message of a type. */
export const isMessageOf = (type: AppMessageType, value: unknown): boolean => checkOf[type]()(value);

/** Parses and checks one message of an app. Never throws. */
export function validate(text: string): Validated {
  let value: unknown;
  try {
    value = JSON.parse(text);
  } catch (error) {
    const why = error instanceof Error ? firstLine(error.message) : 'cannot be parsed';
    return refuse({ code: 'badJson', message: `The message is not JSON: ${why}.` });
  }
  if (typeof value !== 'object' || value === null || Array.isArray(value)) {
    return refuse({
      code: 'badMessage',
      message: 'The message is not a JSON object such as {"type":"subscribe"}.',
      path: '',
    });
  }
  const { type, id: rawId } = value as { type?: unknown; id?: unknown };
  const id = isId(rawId) ? rawId : undefined;
  if (typeof type !== 'string') {
    const message = `The message has no "type"; it is one of ${TYPES.join(', ')}.`;
    return refuse({ code: 'badMessage', message, path: '/type' }, id);
  }
  if (!isType(type)) {
    const message = sentence(`The type ${quote(type)} is not known; ${suggestion(type, TYPES)}`);
    return refuse({ code: 'unknownType', message, path: '/type' }, id);
  }
  const check = checkOf[type]();
  if (check(value)) return { ok: true, message: value as AppMessage };
  return refuse(complain(type, value, check.errors ?? []), id, type);
}

function refuse(complaint: Refusal, id?: string | number, type?: AppMessageType): Validated {
  return {
    ok: false,
    complaint,
    ...(id === undefined ? {} : { id }),
    ...(type === undefined ? {} : { type }),
  };
}

const isType = (type: string): type is AppMessageType => Object.hasOwn(AppMessages, type);

function isId(id: unknown): id is string | number {
  return (typeof id === 'string' && id.length <= 64) || Number.isSafeInteger(id);
}

function complain(type: string, value: object, errors: ErrorObject[]): Refusal {
  const error = pick(value, errors);
  if (!error) return { code: 'badMessage', message: `${type}: the message breaks its schema.`, path: '' };
  let path = error.instancePath;
  let what: string;
  if (error.keyword === 'additionalProperties') {
    const name = String(error.params.additionalProperty);
    const known = Object.keys((error.parentSchema as { properties?: object }).properties ?? {});
    path += `/${name.replaceAll('~', '~0').replaceAll('/', '~1').slice(0, 80)}`;
    what = `is not known here; ${suggestion(name, known)}`;
  } else if (error.keyword === 'required') {
    path += `/${error.params.missingProperty}`;
    what = 'is missing';
  } else if (error.keyword === 'enum') {
    const allowed = (error.params.allowedValues as unknown[]).map(String);
    what =
      typeof error.data === 'string'
        ? `is ${quote(error.data)}; ${suggestion(error.data, allowed)}`
        : `must be one of ${allowed.join(', ')}`;
  } else if (typeof error.data === 'number' && !Number.isFinite(error.data)) {
    what = 'must be a finite number';
  } else if (typeof error.data === 'number' && error.keyword !== 'type') {
    what = `${error.message}, not ${error.data}`;
  } else {
    what = error.message ?? 'is wrong';
  }
  return { code: 'badMessage', message: sentence(`${type}: ${path || 'the message'} ${what}`), path };
}

/**
 * The error that says most. For the shape of a touch that is the one of the kind that it names, not the
 * complaints of all the other kinds; and so for the shape of a part of a compound.
 */
function pick(value: object, errors: ErrorObject[]): ErrorObject | undefined {
  const first = errors[0];
  if (!first?.instancePath.startsWith('/shape')) return first;
  const { shape } = value as { shape?: Kinded };
  const outer = pickKind(shape, SHAPE_KINDS, '/shape', errors);
  const part = /^\/shape\/parts\/(\d+)\/shape/.exec(outer.instancePath);
  if (!part) return outer;
  const parts = (shape as { parts: { shape: Kinded }[] }).parts;
  return pickKind(parts[Number(part[1])].shape, PART_KINDS, part[0], errors);
}

type Kinded = { kind?: unknown } | null | undefined;

/** @param at where the shape is; its errors may be among those of other shapes */
function pickKind(
  shape: Kinded,
  kinds: readonly string[],
  at: string,
  errors: readonly ErrorObject[],
): ErrorObject {
  const all = errors.filter(({ instancePath }) => instancePath.startsWith(at));
  const first = all[0];
  const branch = kinds.indexOf(String(shape?.kind));
  if (branch >= 0) {
    const level =
      at === '/shape' ? /^[^?]*?\/anyOf\/(\d+)\// : /\/shape\/anyOf\/\d+\/.*\/shape\/anyOf\/(\d+)\//;
    return all.find(({ schemaPath }) => Number(level.exec(schemaPath)?.[1] ?? -1) === branch) ?? first;
  }
  if (typeof shape !== 'object' || shape === null) {
    return { ...first, instancePath: at, keyword: 'type', message: 'must be object' };
  }
  return {
    ...first,
    instancePath: `${at}/kind`,
    keyword: 'enum',
    data: shape.kind,
    params: { allowedValues: kinds },
  };
}

const SHAPE_KINDS = AppMessages.touch.properties.shape.anyOf.map(({ properties }) => properties.kind.const);
const PART_KINDS = SHAPE_KINDS.filter((kind) => kind !== 'compound');

function suggestion(word: string, known: readonly string[]): string {
  let best: string | undefined;
  let bestDistance = Math.max(2, Math.ceil(word.length / 3)) + 1;
  const said = word.slice(0, 40).toLowerCase();
  for (const candidate of known) {
    // So many letters must at least be added or left out: whoever floods the service with long words costs it little.
    if (Math.abs(said.length - candidate.length) >= bestDistance) continue;
    const distance = editDistance(said, candidate.toLowerCase());
    if (distance < bestDistance) {
      best = candidate;
      bestDistance = distance;
    }
  }
  return best === undefined ? `it is one of ${known.join(', ')}` : `did you mean ${quote(best)}?`;
}

function editDistance(a: string, b: string): number {
  let previous = Array.from({ length: b.length + 1 }, (_, i) => i);
  for (let i = 1; i <= a.length; i++) {
    const current = [i];
    for (let j = 1; j <= b.length; j++) {
      const swap = a[i - 1] === b[j - 1] ? 0 : 1;
      current[j] = Math.min(previous[j] + 1, current[j - 1] + 1, previous[j - 1] + swap);
    }
    previous = current;
  }
  return previous[b.length];
}

/** One line that ends in a full stop, whatever an app put into a name. */
const sentence = (text: string): string =>
  `${text.replaceAll(/\p{Cc}/gu, ' ')}${text.endsWith('?') ? '' : '.'}`;
const quote = (text: string): string => JSON.stringify(text.length > 40 ? `${text.slice(0, 40)}…` : text);
const firstLine = (text: string): string => text.split('\n', 1)[0].slice(0, 160);
