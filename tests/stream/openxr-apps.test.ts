import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { isServed, programName } from '../../src/protocol/program-name.js';
import { createOpenxrApps, type ShownGlove, whyNot } from '../../src/stream/openxr-apps.js';
import type { Stream } from '../../src/stream/server.js';
import { App, serve } from './app.js';
import { FakeGlove } from './fake-glove.js';

const REPORT = {
  type: 'openxr' as const,
  program: 'Garden.exe',
  app: 'Garden',
  focused: true,
  hands: [{ hand: 'right' as const, fingers: 'nobody' as const, wrist: 'nobody' as const, inputs: false }],
};
const GLOVE: ShownGlove = { hand: 'right', link: { state: 'live' }, valid: true };

describe('names of programs', () => {
  it('are compared without folder, .exe and capitals', () => {
    expect(programName('C:\\Games\\Garden.EXE')).toBe('garden');
    expect(programName('/opt/Garden')).toBe('garden');
    expect(programName('garden.exe.bak')).toBe('garden.exe.bak');
    // Letters beyond ASCII are left alone: the layer does not know them either.
    expect(programName('Élan')).toBe('Élan');
    expect(isServed('Garden.exe', { deny: [] })).toBe(true);
    expect(isServed('Garden.exe', { deny: ['GARDEN'] })).toBe(false);
    expect(isServed('garden', { allow: ['Garden.exe'], deny: [] })).toBe(true);
    expect(isServed('garden', { allow: [], deny: [] })).toBe(false);
    expect(isServed('garden', { allow: ['garden'], deny: ['garden'] })).toBe(false);
  });
});

describe('why a hand is not served', () => {
  const right = REPORT.hands[0];
  const cases: [string, Parameters<typeof whyNot>, RegExp | undefined][] = [
    ['it is', [{ ...right, fingers: 'glove' }, true, [GLOVE]], undefined],
    ['by its inputs', [{ ...right, fingers: 'unasked', inputs: true }, true, [GLOVE]], undefined],
    ['no glove', [right, true, []], /no glove for the right hand/],
    [
      'a link that is not live',
      [right, true, [{ ...GLOVE, link: { state: 'lost', reason: 'Plug it in.' } }]],
      /not connected\. Plug it in\./,
    ],
    [
      'a glove that is silent',
      [right, true, [{ ...GLOVE, valid: false, reason: 'It is silent.' }]],
      /It is silent/,
    ],
    ['no focus', [right, false, [GLOVE]], /focus of the headset/],
    ['not asked', [{ ...right, fingers: 'unasked' }, true, [GLOVE]], /asks for no hand/],
    ['no wrist', [right, true, [GLOVE]], /where the wrist is/],
    ['the headset’s own hand', [{ ...right, fingers: 'runtime' }, true, [GLOVE]], /where the wrist is/],
  ];
  it.each(cases)('%s', (_what, args, says) => {
    const why = whyNot(...args);
    if (says) expect(why).toMatch(says);
    else expect(why).toBeUndefined();
  });
});

describe('applications of late', () => {
  it('are kept, the newest first, and no more than a few', () => {
    const apps = createOpenxrApps();
    for (let i = 0; i < 30; i++) {
      const connection = {};
      apps.take(connection, { ...REPORT, program: `p${i}` }, i * 1000);
      if (i < 29) apps.left(connection, i * 1000 + 500);
    }
    const list = apps.list([GLOVE]);
    expect(list).toHaveLength(21);
    expect(list[0]).toMatchObject({ program: 'p29', since: '1970-01-01T00:00:29.000Z' });
    expect(list[0].hands[0].why).toMatch(/wrist/);
    expect(list[1]).toMatchObject({
      program: 'p28',
      until: '1970-01-01T00:00:28.500Z',
      focused: false,
      hands: [],
    });
    expect(list.at(-1)).toMatchObject({ program: 'p9' });
  });
  it('a report replaces the one before, from the same time on', () => {
    const apps = createOpenxrApps();
    const connection = {};
    apps.take(connection, REPORT, 1000);
    apps.take(connection, { ...REPORT, focused: false }, 2000);
    expect(apps.list([])).toMatchObject([{ focused: false, since: '1970-01-01T00:00:01.000Z' }]);
  });
});

describe('a program that the profile denies', () => {
  let glove: FakeGlove;
  let stream: Stream;
  beforeEach(async () => {
    glove = new FakeGlove();
    stream = await serve(
      [glove],
      {},
      { openxr: { deny: ['garden'], world: 'local' as const, graspHold: false, graspEffort: 0.8 } },
    );
  });
  afterEach(() => stream.close());

  it('is refused, may ask for nothing, and may let go', async () => {
    const app = await App.connect(stream.port);
    expect(await app.ask(REPORT)).toMatchObject({ type: 'error', code: 'notPermitted', path: '/program' });
    expect(await app.ask({ type: 'subscribe', streams: ['joints'] })).toMatchObject({ code: 'notPermitted' });
    const pulse = { type: 'pulse', hand: 'right', amplitude: 1, durationMs: 50 };
    expect(await app.ask(pulse)).toMatchObject({ code: 'notPermitted' });
    expect(glove.calls.filter(([name]) => name === 'pulse')).toEqual([]);
    expect(await app.ask({ type: 'ping' })).toMatchObject({ type: 'ack' });
    expect(await app.ask({ type: 'disarm' })).toMatchObject({ type: 'ack' });
    const { applications } = await (await fetch(`http://127.0.0.1:${stream.port}/openxr`)).json();
    expect(applications).toMatchObject([{ program: 'Garden.exe', served: false, hands: [] }]);
    app.ws.close();
  });

  it('others are served', async () => {
    const app = await App.connect(stream.port);
    expect(await app.ask({ ...REPORT, program: 'other' })).toMatchObject({ type: 'ack' });
    expect(await app.ask({ type: 'subscribe', streams: ['joints'] })).toMatchObject({ type: 'ack' });
    app.ws.close();
  });
});
