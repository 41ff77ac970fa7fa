import fc from 'fast-check';
import { describe, expect, it, test } from 'vitest';
import { classifyDisarm, LONGEST_CLASSIFIED } from '../../src/stream/classify-disarm.js';
import { countWord, hasWord } from '../../src/stream/disarm-word.js';
import { EXAMPLES } from '../../src/stream/examples.js';

const latin1 = (bytes: Buffer): string => bytes.toString('latin1');
const utf16be = (said: string): Buffer => Buffer.from(said, 'utf16le').swap16();
const utf32 = (said: string): Buffer =>
  Buffer.concat([...said].map((char) => Buffer.from([char.charCodeAt(0), 0, 0, 0])));
const inEveryCase = fc
  .array(fc.boolean(), { minLength: 6, maxLength: 6 })
  .map((large) => [...'disarm'].map((char, i) => (large[i] ? char.toUpperCase() : char)).join(''));
/** Some letters escaped as JSON may have them (RFC 8259, 7). */
const escaped = fc
  .tuple(inEveryCase, fc.array(fc.boolean(), { minLength: 6, maxLength: 6 }))
  .map(([word, which]) =>
    [...word].map((char, i) => (which[i] ? `\\u00${char.charCodeAt(0).toString(16)}` : char)).join(''),
  );

describe('the word', () => {
  it('is found in any case, in UTF-8, UTF-16 and UTF-32, with letters escaped, between whatever', () => {
    fc.assert(
      fc.property(inEveryCase, escaped, fc.string(), fc.string(), (word, letters, before, after) => {
        for (const said of [word, letters]) {
          expect(hasWord(latin1(Buffer.from(before + said + after)))).toBe(true);
        }
        expect(hasWord(latin1(Buffer.from(before + word + after, 'utf16le')))).toBe(true);
        expect(hasWord(latin1(utf16be(before + word + after)))).toBe(true);
        expect(hasWord(latin1(utf32(word)))).toBe(true);
        expect(countWord(latin1(Buffer.from(`${word} ${letters}`)))).toBe(2);
      }),
    );
  });

  test('is not found where it is not', () => {
    for (const said of ['', 'dis arm', 'dsiarm', 'arm', 'disar', 'd\\u0069s-arm', '{"type":"arm"}']) {
      expect(hasWord(said)).toBe(false);
    }
  });

  it('is looked for in time that grows with the length alone', () => {
    const worst = ['d\\u006', 'd\0\0\0i\0\0\0s', 'disar', '\\u0064\\u0069'].map((part) =>
      part.repeat(64 * 1024).slice(0, 64 * 1024),
    );
    for (const said of worst) {
      const began = process.cpuUsage();
      for (let i = 0; i < 10; i++) expect(hasWord(said)).toBe(false);
      const { user } = process.cpuUsage(began);
      expect(user / 10_000).toBeLessThan(20);
    }
  });
});

describe('a message with the word in it', () => {
  test.each([
    '{"type":"disarm"}',
    ' {"type" : "disarm", "hand":"right"}\n',
    '{"type":"d\\u0069sarm","id":7}',
    '{"type":"disarm","id":"disarm"}',
  ])('%s is a disarm', (said) => expect(classifyDisarm(said).is).toBe('disarm'));

  test.each([
    '{"type":"subscribe","app":"disarm helper"}',
    '{"type":"ping","id":"disarm-1"}',
    '{"type":"release","layer":"DISARM"}',
    '{"type":"resist","hand":"right","layer":"disarm","id":"disarm","fingers":{}}',
  ])('%s has it in a name, and is what it says', (said) => expect(classifyDisarm(said).is).toBe('harmless'));

  test.each([
    '{"type":"disarm",}',
    '\ufeff{"type":"disarm"}',
    '{"type":"disarm"}{"type":"ping"}',
    '[{"type":"disarm"}]',
    '{"type":"DISARM"}',
    '{"type":"Disarm "}',
    '{"type":"disarm","hand":"both"}',
    '{"type":"disarm","now":true}',
    "{'type':'disarm'}",
    '{type:disarm}',
    '"disarm"',
    'disarm',
    'please disarm!',
    '{"Type":"disarm"}',
    '{"message":"disarm"}',
    // Which of two counts is for a parser to say; whoever wrote the other meant it too.
    '{"type":"disarm","type":"ping"}',
    '{"type":"ping","id":"disarm","id":"x"}',
    // A name has the word, and the message is no message.
    '{"type":"subscribe","app":"disarm helper","rate":60}',
  ])('%s may be meant as one: every hand', (said) => expect(classifyDisarm(said).is).toBe('disarmAll'));

  test('that is too long to be looked into is one', () => {
    const sound = (spaces: number) => `{"type":"subscribe","app":"disarm helper"${' '.repeat(spaces)}}`;
    expect(classifyDisarm(sound(LONGEST_CLASSIFIED - sound(0).length)).is).toBe('harmless');
    expect(classifyDisarm(sound(LONGEST_CLASSIFIED - sound(0).length + 1)).is).toBe('disarmAll');
  });

  test('that was binary is one', () => expect(classifyDisarm(undefined).is).toBe('disarmAll'));

  it('however it is mutated, is a disarm as long as the word is there, unless it is a sound message of another type', () => {
    const edit = fc.record({
      at: fc.nat(200),
      remove: fc.nat(3),
      put: fc.oneof(
        fc.string({ maxLength: 3 }),
        fc.constantFrom(',', '}', '{', '"', '\\', '\u0000', '\ufeff'),
      ),
    });
    const sources = Object.values(EXAMPLES).map((example) => JSON.stringify(example));
    fc.assert(
      fc.property(
        fc.constantFrom('{"type":"disarm"}', '{"type":"disarm","hand":"right","id":1}', ...sources),
        fc.array(edit, { minLength: 1, maxLength: 4 }),
        fc.nat(200),
        (source, edits, wordAt) => {
          let said = source;
          for (const { at, remove, put } of edits) said = said.slice(0, at) + put + said.slice(at + remove);
          if (!hasWord(said)) said = `${said.slice(0, wordAt)}disarm${said.slice(wordAt)}`;
          const judgement = classifyDisarm(said);
          if (judgement.is !== 'harmless') return;
          // Sound, and every place where the word stands is a name.
          const message = JSON.parse(said) as Record<string, unknown>;
          expect(message.type).not.toMatch(/disarm/i);
          const { id, app, layer, ...rest } = message;
          expect(hasWord(JSON.stringify(rest))).toBe(false);
          expect(countWord(JSON.stringify([id, app, layer]))).toBe(countWord(said));
        },
      ),
      { numRuns: 3000 },
    );
  });
});
