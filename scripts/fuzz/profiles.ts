import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { parseProfile } from '../../src/config/load.js';
import { TautlineError } from '../../src/errors.js';
import { createRandom } from './random.js';
import { createWatch, type FuzzReport } from './watch.js';

const CONFIG = fileURLToPath(new URL('../../config/', import.meta.url));
type Random = (below: number) => number;

/** Mutated profiles and files made to hurt a YAML reader. A refusal is profileInvalid. The bombs come first. @param count profiles */
export function fuzzProfiles(count: number, seed: number, bombs = BOMBS): FuzzReport {
  const random = createRandom(seed).below;
  const sound = readdirSync(CONFIG)
    .filter((name) => name.endsWith('.yaml'))
    .map((name) => readFileSync(`${CONFIG}${name}`, 'utf8'));
  const watch = createWatch();
  // Once before the clock runs: the first profile compiles what the others use.
  for (const text of sound) read(text);
  const texts = Object.values(bombs).map((make) => make());
  for (let n = 0; n < count; n++) {
    const text = texts[n] ?? mutate(sound[random(sound.length)], random);
    watch.run(n, () => watch.count(read(text)));
    if (n === Math.floor(count / 10)) watch.settled();
  }
  return watch.report('profiles', seed, count);
}

function read(text: string): string {
  try {
    parseProfile(text, 'fuzz.yaml');
    return 'taken';
  } catch (error) {
    if (error instanceof TautlineError && error.code === 'profileInvalid') return 'refused';
    throw error;
  }
}

const PIECES = [
  '&a ',
  '*a',
  '!!js ',
  '[',
  ']',
  '{',
  '}',
  ': ',
  '- ',
  '\n',
  '  ',
  '"',
  "'",
  '|',
  '>',
  '#',
  '? ',
  '%YAML 1.1\n',
  '<<: *a',
  '\u0000',
  '\ud800',
  '.nan',
  '.inf',
  '-0',
  '1e309',
  '__proto__: ',
  'constructor: ',
  '0x7fffffff',
  'null',
  '---\n',
  '...\n',
  '\t',
];

function mutate(sound: string, random: Random): string {
  let text = sound;
  for (let change = 1 + random(4); change > 0; change--) {
    const at = random(text.length);
    const kind = random(5);
    const piece = PIECES[random(PIECES.length)];
    if (kind === 0) text = text.slice(0, at) + piece + text.slice(at);
    else if (kind === 1) text = text.slice(0, at) + text.slice(at + 1 + random(20));
    else if (kind === 2) text = text.slice(0, at) + String.fromCharCode(random(0x250)) + text.slice(at + 1);
    else if (kind === 3) text = text.slice(0, at) + text.slice(random(text.length));
    else text = text.replace(/: *[\d.]+/g, (number) => (random(40) === 0 ? `: ${piece}` : number));
  }
  return text;
}

const nested = (open: string, close: string, depth: number) =>
  `profile: 1\ngloves: ${open.repeat(depth)}${close.repeat(depth)}`;

/** Files made to hurt, most as large as is read at all: each is either refused or read, and quickly. */
export const BOMBS: Record<string, () => string> = {
  aliases: () => {
    const lines = ['a0: &a0 [x, x, x, x, x, x, x, x, x]'];
    for (let i = 1; i < 40; i++)
      lines.push(
        `a${i}: &a${i} [${Array(9)
          .fill(`*a${i - 1}`)
          .join(', ')}]`,
      );
    return lines.join('\n');
  },
  'aliases at work': () => `profile: 1\nname: &n x\ngloves: [${Array(250).fill('*n').join(', ')}]`,
  'alias to itself': () => 'profile: 1\ngloves: &g [*g]',
  anchors: () => `profile: 1\ngloves:\n${Array.from({ length: 250 }, (_, i) => `  - &a${i} 1`).join('\n')}`,
  'deep lists': () => nested('[', ']', 30),
  'deep maps': () => nested('{a: ', '}', 9_000),
  'deep indents': () =>
    `profile: 1\n${Array.from({ length: 600 }, (_, i) => `${' '.repeat(i)}a:`).join('\n')}`,
  'deep dashes': () => `profile: 1\ngloves:\n${'- '.repeat(30_000)}1`,
  'many keys': () => Array.from({ length: 590 }, (_, i) => `key${i}: ${i}`).join('\n'),
  'one key over and over': () => 'name: x\n'.repeat(590),
  'many gloves': () => `profile: 1\ngloves: [${Array(550).fill('{}').join(',')}]`,
  'many channels': () =>
    `profile: 1\ngloves: [{hand: right, link: {kind: simulated}, channels: [${Array(550).fill('{}').join(',')}]}]`,
  'long text': () => `profile: 1\nname: "${'x'.repeat(65_000 - 40)}"`,
  'long escapes': () => `profile: 1\nname: "${'\\u0041'.repeat(10_000)}"`,
  'long comment': () => `# ${'x'.repeat(65_000)}`,
  'open quotes': () => `profile: 1\n${'name: "\n'.repeat(590)}`,
  'too large': () => `profile: 1\nname: ${'x'.repeat(5_000_000)}`,
  tabs: () => '\t'.repeat(60_000),
  documents: () => '---\n'.repeat(590),
  digits: () => `profile: ${'9'.repeat(60_000)}`,
  'question marks': () => `${'? '.repeat(30_000)}x`,
};
