import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { lineOfChannel } from '../../src/page/profile-line.js';

const lineAt = (text: string, role: string, side?: 'left' | 'right') => {
  const line = lineOfChannel(text, { role, side });
  return line === undefined ? undefined : text.split('\n')[line - 1].trim();
};

it('finds a channel of the shipped profile, and none that it has not', () => {
  const text = readFileSync('config/simulated.yaml', 'utf8');
  expect(lineAt(text, 'little.curl', 'right')).toMatch(/^- \{ role: little\.curl,/);
  expect(lineAt(text, 'little', 'right')).toMatch(/^- \{ role: little, kind: stringStop/);
  expect(lineAt(text, 'wrist.roll', 'right')).toBeUndefined();
});

it('finds it in the glove of its hand, quoted or on a line of its own, and not in a comment', () => {
  const text = `gloves:
  # - { hand: right, role: index.curl }
  - name: A
    hand: left
    channels:
      - role: "index.curl" # of the left
  - name: B
    hand: right
    channels: [{ open: 1, role: 'index.curl', closed: 2 }]
`;
  expect(lineOfChannel(text, { role: 'index.curl', side: 'left' })).toBe(6);
  expect(lineOfChannel(text, { role: 'index.curl', side: 'right' })).toBe(9);
  expect(lineOfChannel(text, { role: 'index.curl', side: undefined })).toBe(6);
});
