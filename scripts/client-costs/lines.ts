import { readFileSync } from 'node:fs';

/** Where the programs of the guides are: of a moving hand, and of a ball that it takes. */
export const PROGRAMS = {
  JavaScript: { guide: 'docs/write-an-app.md', hand: 'tip.mjs', ball: 'pick-up.mjs' },
  'C#': { guide: 'docs/csharp.md', hand: 'Hand.cs', ball: 'Ball.cs' },
  'C++': { guide: 'docs/cpp.md', hand: 'hand.cpp', ball: 'ball.cpp' },
  Python: { guide: 'docs/python.md', hand: 'hand.py', ball: 'ball.py' },
} as const;
export type Language = keyof typeof PROGRAMS;

/** Lines of a program of a guide that hold code. */
export function linesOf(language: Language, which: 'hand' | 'ball'): number {
  const { guide, [which]: name } = PROGRAMS[language];
  const text = readFileSync(guide, 'utf8');
  const at = text.indexOf(`s \`${name}\`:\n\n\`\`\``);
  if (at < 0) throw new Error(`${guide} has no program ${name}.`);
  const [, body] = /```\w+\n([\s\S]*?)^```$/m.exec(text.slice(at))!;
  return body.split('\n').filter((line) => !/^\s*(\/\/.*|#(?!include).*)?$/.test(line)).length;
}
