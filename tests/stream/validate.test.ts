import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { validate } from '../../src/stream/validate.js';

const complaint = (message: object | string) => {
  const checked = validate(typeof message === 'string' ? message : JSON.stringify(message));
  return checked.ok ? undefined : checked.complaint;
};
const ball = { kind: 'sphere', radius: 0.03 };
const stop = { stopAt: 0.5, effort: 1 };

describe('messages of apps', () => {
  test.each([
    { type: 'subscribe' },
    { type: 'subscribe', id: 7, app: 'demo', hands: ['left'], streams: [], rateHz: 90, predictMs: 20 },
    { type: 'resist', hand: 'right', fingers: { index: stop, little: stop }, ttlMs: 1000 },
    { type: 'touch', hand: 'right', shape: { kind: 'sphere', radius: 0.03 }, position: [0, 0, -0.1] },
    { type: 'touch', hand: 'left', shape: { kind: 'box', size: [0.1, 0.1, 0.1] }, orientation: [0, 0, 0, 1] },
    { type: 'touch', hand: 'left', shape: { kind: 'halfSpace' } },
    {
      type: 'touch',
      hand: 'left',
      shape: {
        kind: 'compound',
        parts: [
          { shape: { kind: 'cylinder', radius: 0.03, length: 0.1 } },
          {
            shape: { kind: 'capsule', radius: 0.01, length: 0.1 },
            position: [0, 0.1, 0],
            orientation: [0, 0, 0, 1],
          },
        ],
      },
    },
    { type: 'release' },
    { type: 'pulse', hand: 'right', finger: 'palm', amplitude: 1, durationMs: 20 },
    { type: 'tracker', hand: 'left', position: [0, 1, 0], orientation: [0, 0, 0, 1] },
    { type: 'arm' },
    { type: 'disarm', hand: 'left' },
    { type: 'ping', timeUs: 1.5 },
  ])('$type is taken', (message) => expect(complaint(message)).toBeUndefined());

  test.each([
    ['{"type":', 'badJson', undefined, /not JSON/],
    ['', 'badJson', undefined, /not JSON/],
    ['[]', 'badMessage', '', /not a JSON object/],
    ['null', 'badMessage', '', /not a JSON object/],
    [{}, 'badMessage', '/type', /no "type"/],
    [{ type: 5 }, 'badMessage', '/type', /no "type"/],
    [{ type: 'subscrive' }, 'unknownType', '/type', /did you mean "subscribe"/],
    [{ type: '__proto__' }, 'unknownType', '/type', /not known/],
    [{ type: 'resist', fingers: {} }, 'badMessage', '/hand', /is missing/],
    [{ type: 'resist', hand: 'rigth', fingers: {} }, 'badMessage', '/hand', /did you mean "right"/],
    [
      { type: 'resist', hand: 'left', fingers: { indx: stop } },
      'badMessage',
      '/fingers/indx',
      /did you mean "index"/,
    ],
    [
      { type: 'resist', hand: 'left', fingers: { 'a/b~c': stop } },
      'badMessage',
      '/fingers/a~1b~0c',
      /not known/,
    ],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'cone' } },
      'badMessage',
      '/shape/kind',
      /one of sphere, /,
    ],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'compound', parts: [] } },
      'badMessage',
      '/shape/parts',
      /fewer than 1 item/,
    ],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'compound', parts: Array(17).fill({ shape: ball }) } },
      'badMessage',
      '/shape/parts',
      /more than 16 items/,
    ],
    [
      {
        type: 'touch',
        hand: 'left',
        shape: { kind: 'compound', parts: [{ shape: ball }, { shape: { kind: 'box', size: [1, 2] } }] },
      },
      'badMessage',
      '/shape/parts/1/shape/size',
      /fewer than 3/,
    ],
    [
      {
        type: 'touch',
        hand: 'left',
        shape: { kind: 'compound', parts: [{ shape: { kind: 'compound', parts: [] } }] },
      },
      'badMessage',
      '/shape/parts/0/shape/kind',
      /one of sphere, box, capsule, cylinder, halfSpace, hull/,
    ],
    [
      {
        type: 'touch',
        hand: 'left',
        shape: { kind: 'compound', parts: [{ shape: ball, orientaton: [0, 0, 0, 1] }] },
      },
      'badMessage',
      '/shape/parts/0/orientaton',
      /did you mean "orientation"/,
    ],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'compound', parts: [{ shape: 5 }] } },
      'badMessage',
      '/shape/parts/0/shape',
      /must be object/,
    ],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'hull', points: Array(257).fill([0, 0, 0]) } },
      'badMessage',
      '/shape/points',
      /more than 256 items/,
    ],
    [{ type: 'arm', 'a\nb': 1 }, 'badMessage', '/a\nb', /not known/],
    [
      { type: 'resist', hand: 'left', fingers: { ring: { stopAt: 1.5, effort: 1 } } },
      'badMessage',
      '/fingers/ring/stopAt',
      /must be <= 1, not 1.5/,
    ],
    [
      '{"type":"resist","hand":"left","fingers":{"ring":{"stopAt":1e999,"effort":1}}}',
      'badMessage',
      '/fingers/ring/stopAt',
      /finite/,
    ],
    ['{"type":"ping","timeUs":-1e999}', 'badMessage', '/timeUs', /finite/],
    [{ type: 'subscribe', rateHz: '90' }, 'badMessage', '/rateHz', /must be number/],
    [{ type: 'subscribe', hands: ['left', 'left'] }, 'badMessage', '/hands', /duplicate/],
    [{ type: 'subscribe', streams: ['joint'] }, 'badMessage', '/streams/0', /did you mean "joints"/],
    [{ type: 'touch', hand: 'left', shape: { kind: 'sphere' } }, 'badMessage', '/shape/radius', /is missing/],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'spere' } },
      'badMessage',
      '/shape/kind',
      /did you mean "sphere"/,
    ],
    [{ type: 'touch', hand: 'left', shape: {} }, 'badMessage', '/shape/kind', /must be one of sphere/],
    [{ type: 'touch', hand: 'left', shape: 5 }, 'badMessage', '/shape', /must be object/],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'box', size: [1, 1, -1] } },
      'badMessage',
      '/shape/size/2',
      /must be > 0, not -1/,
    ],
    [
      { type: 'touch', hand: 'left', shape: { kind: 'sphere', radius: 1 }, position: [0, 0] },
      'badMessage',
      '/position',
      /3 items/,
    ],
  ] as const)('%j is refused by code, path and line', (message, code, path, line) => {
    const found = complaint(message);
    expect(found).toMatchObject({ code, message: expect.stringMatching(line) });
    expect(found?.path).toBe(path);
    expect(found?.message).not.toContain('\n');
  });

  test('the id of a wrong message is given back, if it is one', () => {
    expect(validate('{"type":"nonsense","id":"a"}')).toMatchObject({ ok: false, id: 'a' });
    expect(validate('{"type":"ping","x":1,"id":4}')).toMatchObject({ ok: false, id: 4 });
    expect(validate('{"type":"ping","id":{}}')).not.toHaveProperty('id');
    expect(validate(JSON.stringify({ type: 'ping', id: 'x'.repeat(65) }))).not.toHaveProperty('id');
  });

  test('nothing makes it throw, and every complaint is one short line', () => {
    const types = fc.constantFrom('subscribe', 'resist', 'touch', 'pulse', 'tracker', 'ping', 'x');
    const anything = fc.oneof(
      fc.string(),
      fc.json(),
      fc
        .tuple(types, fc.dictionary(fc.string(), fc.jsonValue()))
        .map(([type, rest]) => JSON.stringify({ shape: rest, ...rest, type })),
    );
    fc.assert(
      fc.property(anything, (text) => {
        const checked = validate(text);
        if (!checked.ok) {
          expect(checked.complaint.message.length).toBeLessThan(400);
          expect(checked.complaint.message).not.toMatch(/[\n\r]/);
        }
      }),
      { numRuns: 500 },
    );
  });
});
