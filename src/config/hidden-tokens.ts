import { type Document, isMap, isScalar, isSeq, parseDocument, type Scalar } from 'yaml';
import { readYaml } from './yaml.js';

/** Stands where a token is, in a profile that is shown: it is a token itself, so that the profile stays valid. */
export const HIDDEN_TOKEN = 'hidden--kept-as-it-is';

interface Token {
  /** The app that it is of; undefined: of the service. */
  app: string | undefined;
  value: string;
  /** Offsets in the text. */
  from: number;
  to: number;
}

/** Every token that stands in a profile; none in a text that is no profile. */
function tokensIn(text: string): Token[] {
  // Looks for what would keep the parser busy first.
  if (readYaml(text).problems.length > 0) return [];
  const document = parseDocument(text, { version: '1.2', schema: 'core', logLevel: 'silent' });
  const at = (app: string | undefined, path: readonly (string | number)[]): Token[] => {
    const node = scalarAt(document, path);
    if (!node?.range || node.value === null) return [];
    const [from, to] = node.range;
    return [{ app, value: String(node.value), from, to }];
  };
  const apps = document.getIn(['stream', 'permissions', 'apps']);
  const names = isSeq(apps) ? apps.items.map((app) => (isMap(app) ? app.get('name') : undefined)) : [];
  return [
    ...at(undefined, ['stream', 'token']),
    ...names.flatMap((name, i) => at(String(name), ['stream', 'permissions', 'apps', i, 'token'])),
  ].sort((a, b) => b.from - a.from);
}

function scalarAt(document: Document, path: readonly (string | number)[]): Scalar | undefined {
  const node = document.getIn(path, true);
  return isScalar(node) ? node : undefined;
}

/** @returns the text without its tokens; undefined where one of them stands elsewhere, too, in a comment say */
export function hideTokens(text: string): string | undefined {
  const tokens = tokensIn(text);
  let shown = text;
  for (const { from, to } of tokens) shown = `${shown.slice(0, from)}${HIDDEN_TOKEN}${shown.slice(to)}`;
  return tokens.some(({ value }) => shown.includes(value)) ? undefined : shown;
}

/**
 * The tokens that were hidden, in their places again, by the name of their app.
 * @param original the text that was shown
 * @returns undefined: one is hidden that the original does not have, since its app has another name, say
 */
export function bringBackTokens(text: string, original: string): string | undefined {
  const known = tokensIn(original);
  let whole = text;
  for (const { app, value, from, to } of tokensIn(text)) {
    if (value !== HIDDEN_TOKEN) continue;
    const was = known.find((one) => one.app === app);
    if (!was) return undefined;
    whole = `${whole.slice(0, from)}${original.slice(was.from, was.to)}${whole.slice(to)}`;
  }
  return whole;
}
