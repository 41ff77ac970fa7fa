import {
  type Document,
  isAlias,
  isMap,
  isNode,
  isScalar,
  isSeq,
  LineCounter,
  type Node,
  parseDocument,
} from 'yaml';
import { quote } from './describe.js';

/** Largest profile read, bytes: two gloves with every key and a comment on each are under 20 kB. */
export const MAX_PROFILE_BYTES = 64 * 1024;
/** Most aliases resolved: more is a mistake, or a file made to grow without bound. */
const MAX_ALIASES = 64;
/**
 * Deepest nesting, and most lines with something on them but a comment: a profile has six levels, and two gloves with
 * every key on a line of its own have some 400 lines.
 */
const MAX_DEPTH = 32;
const MAX_LINES = 600;
/** Most lists, maps and list items: those two gloves have some 300. */
const MAX_PARTS = 600;

/** Offset into the text, and what is wrong there. */
export interface YamlProblem {
  offset: number;
  text: string;
}

export interface YamlText {
  /** Plain data; undefined when there are problems. */
  data: unknown;
  problems: YamlProblem[];
  /**
   * Offset of the value at a path, or of the nearest thing above it that stands in the text.
   * @param of `key`: of the last key rather than of its value
   */
  offsetOf(path: readonly string[], of?: 'key' | 'value'): number;
  lineColumn(offset: number): { line: number; column: number };
}

/** Reads one YAML 1.2 document with the core schema: no directives, no tags, no duplicate keys. Never throws. */
export function readYaml(text: string): YamlText {
  const lines = new LineCounter();
  const position = (offset: number) => {
    const { line, col } = lines.linePos(offset);
    return { line: Math.max(1, line), column: Math.max(1, col) };
  };
  const broken = (problems: YamlProblem[]): YamlText => ({
    data: undefined,
    problems,
    offsetOf: () => 0,
    lineColumn: position,
  });
  if (Buffer.byteLength(text) > MAX_PROFILE_BYTES) {
    return broken([{ offset: 0, text: `the file is larger than ${MAX_PROFILE_BYTES / 1024} kB` }]);
  }
  const excess = excessOf(text);
  if (excess !== undefined) return broken([{ offset: 0, text: `the file cannot be read: ${excess}` }]);
  try {
    const document = parseDocument(text, {
      version: '1.2',
      schema: 'core',
      strict: true,
      // Found by structureProblems below: this check of the parser takes time squared in the number of keys.
      uniqueKeys: false,
      prettyErrors: false,
      logLevel: 'silent',
      lineCounter: lines,
    });
    // The parser recurses once a level, and reports a stack that ran out as an error of its own.
    if (document.errors.some(({ message }) => /call stack/.test(message))) throw new RangeError();
    const problems = [
      ...[...document.errors, ...document.warnings.filter(({ code }) => code !== 'TAG_RESOLVE_FAILED')].map(
        ({ pos, message }) => ({
          offset: pos[0],
          text: `not YAML: ${message.split('\n', 1)[0].replace(/[.:]$/, '')}`,
        }),
      ),
      ...(document.directives?.yaml.explicit && document.directives.yaml.version !== '1.2'
        ? [{ offset: 0, text: 'only YAML 1.2 is read; take the %YAML line out' }]
        : []),
      ...structureProblems(document.contents, position),
    ];
    if (problems.length > 0) return broken(problems);
    return {
      data: document.toJS({ maxAliasCount: MAX_ALIASES }),
      problems,
      offsetOf: (path, of = 'value') => offsetOf(document, path, of),
      lineColumn: position,
    };
  } catch (error) {
    // All that is left is too many aliases, or a stack that ran out.
    const reason =
      error instanceof ReferenceError ? `its aliases (*name) go too far` : 'it is nested too deeply';
    return broken([{ offset: 0, text: `the file cannot be read: ${reason}` }]);
  }
}

/**
 * What makes a text too much for a parser that takes time squared in some of these: looked for before it is run. What
 * stands in a comment or between quotes counts as well; no profile comes near.
 */
function excessOf(text: string): string | undefined {
  let depth = 0;
  let lines = 0;
  let marks = 0;
  let parts = 0;
  /** Indicators one after the other in a line, as in `- - - x`: each is a level. */
  let run = 0;
  let indent = 0;
  let atStart = true;
  for (let i = 0; i < text.length; i++) {
    const c = text.charCodeAt(i);
    if (c === 0x0a || c === 0x0d) {
      run = 0;
      indent = 0;
      atStart = true;
      continue;
    }
    if (c === 0x20 || c === 0x09) {
      if (atStart && ++indent > 8 * MAX_DEPTH) return 'it is nested too deeply';
      continue;
    }
    if (atStart && c !== 0x23) lines++;
    atStart = false;
    const next = text.charCodeAt(i + 1);
    const alone = next === 0x20 || next === 0x09 || next === 0x0a || next === 0x0d;
    if (c === 0x5b || c === 0x7b) {
      parts++;
      if (++depth > MAX_DEPTH) return 'it is nested too deeply';
    } else if (c === 0x5d || c === 0x7d) depth = Math.max(0, depth - 1);
    else if ((c === 0x2d || c === 0x3f) && alone) {
      parts++;
      if (++run > MAX_DEPTH) return 'it is nested too deeply';
    } else if (c === 0x26 || c === 0x2a) {
      if (!alone && ++marks > 4 * MAX_ALIASES) return 'its aliases (*name) go too far';
    } else run = 0;
  }
  if (parts > MAX_PARTS) return `it has more than ${MAX_PARTS} lists, maps and items`;
  return lines > MAX_LINES ? `it has more than ${MAX_LINES} lines beside comments` : undefined;
}

/** Duplicate keys, keys that are not words, and tags: YAML that a profile has no use for. */
function structureProblems(
  node: unknown,
  position: (offset: number) => { line: number },
  problems: YamlProblem[] = [],
): YamlProblem[] {
  const tag = isNode(node) && !isAlias(node) ? node.tag : undefined;
  if (tag !== undefined)
    problems.push({ offset: startOf(node) ?? 0, text: 'tags (!name) are not read; take it out' });
  if (isSeq(node)) for (const item of node.items) structureProblems(item, position, problems);
  if (!isMap(node)) return problems;
  const seen = new Map<string, number>();
  for (const { key, value } of node.items) {
    const offset = startOf(key) ?? startOf(node) ?? 0;
    if (isScalar(key)) {
      const name = String(key.value);
      const first = seen.get(name);
      if (first === undefined) seen.set(name, offset);
      else {
        const { line } = position(first);
        problems.push({ offset, text: `key ${quote(name)} is given twice (first in line ${line})` });
      }
    } else problems.push({ offset, text: 'a key must be a single word' });
    structureProblems(value, position, problems);
  }
  return problems;
}

function offsetOf(document: Document, path: readonly string[], of: 'key' | 'value'): number {
  let node: unknown = document.contents;
  let offset = startOf(node) ?? 0;
  for (const [depth, name] of path.entries()) {
    if (isAlias(node)) node = node.resolve(document);
    if (isSeq(node)) node = node.items[Number(name)];
    else if (isMap(node)) {
      const pair = node.items.find(({ key }) => isScalar(key) && String(key.value) === name);
      if (!pair) return offset;
      const last = depth === path.length - 1;
      offset = startOf(pair.key) ?? offset;
      if (last && of === 'key') return offset;
      node = pair.value;
    } else return offset;
    offset = startOf(node) ?? offset;
  }
  return offset;
}

const startOf = (node: unknown): number | undefined => (node as Node | null)?.range?.[0];
