import { expect, it } from 'vitest';
import { checkMarkdown } from '../../../src/commands/shared/check-markdown.js';

const link = {
  ok: true,
  rateHz: 99.8,
  promisedHz: 100,
  lost: 0,
  badCrc: 1,
  malformed: 0,
  gaps: 0,
  jitterMs: 0.4,
  remedy: '',
};
const channel = {
  role: 'index.curl',
  verdict: 'healthy',
  evidence: 'uses 76 %',
  remedy: '',
  used: 0.76,
  noiseCounts: 1.8,
} as const;

it('writes a check as Markdown that keeps its tables whatever is in a text', () => {
  const text = checkMarkdown({
    version: '1.2.3',
    node: 'v20',
    platform: 'Linux x64',
    hand: 'left',
    troubles: [
      { what: 'profile', state: 'attention', says: 'The glove sends stick.x.', remedy: 'Add it.' },
      { what: 'index.curl', state: 'wrong', says: 'Said above.' },
    ],
    check: {
      ok: false,
      channels: [
        channel,
        {
          ...channel,
          role: 'ring.curl',
          verdict: 'dead',
          evidence: 'a | b\n<script>',
          remedy: 'Solder.',
          used: 0,
        },
      ],
      link,
    },
  });
  expect(text).toContain('Tautline 1.2.3, Node v20, Linux x64; left hand, 2 channels.');
  expect(text).toContain('| index.curl | healthy | `###############.....` 76 % | 1.8 | uses 76 % |');
  expect(text).toContain('| ring.curl | dead | `....................` 0 % | 1.8 | a   b  script  |');
  expect(text).toContain('- ring.curl: Solder.\n- profile: The glove sends stick.x. Add it.\n');
  expect(text).not.toContain('Said above');
  for (const line of text.split('\n').filter((one) => one.startsWith('| r') || one.startsWith('| i')))
    expect(line.split('|')).toHaveLength(line.includes('curl') ? 7 : line.split('|').length);
});
