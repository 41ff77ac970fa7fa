import { describe, expect, it } from 'vitest';
import { TautlineError } from '../../src/errors.js';
import { gloveOnLink, HELLO, heardBy } from './glove-on-link.js';

const LINES = { kind: 'lines', columns: ['thumb.curl', 'index.curl'], output: '{index.stop}' };
const text = (line: string) => new TextEncoder().encode(line);
const hello = () => ({ ...HELLO, channels: [...HELLO.channels], actuators: [...HELLO.actuators] });

/** A glove that says something every 4 ms, and what is said of it afterwards. */
async function troublesAfter(
  ms: number,
  say: (t: number, glove: ReturnType<typeof heardBy>) => Uint8Array | undefined,
  codec?: object,
) {
  const rig = gloveOnLink(codec);
  rig.live.start();
  const glove = heardBy({});
  for (let t = 0; t < ms; t += 4) {
    const bytes = say(t, glove);
    if (bytes) rig.say(bytes);
    await rig.clock.advance(4);
  }
  return { ...rig, glove, troubles: rig.live.readTroubles() };
}

const wave = (t: number) => Math.round(2000 + 900 * Math.sin(t / 400));

describe('what is said of a glove', () => {
  it('nothing, when all is well', async () => {
    const { troubles, warnings } = await troublesAfter(5000, (t, glove) =>
      t === 0 ? glove.hello(hello()) : glove.samples(t * 1000, 0, Uint16Array.of(wave(t), wave(t + 90)), 2),
    );
    expect(troubles).toEqual([]);
    expect(warnings).toEqual([]);
  });

  it.each<[string, object | undefined, (t: number) => string | Uint8Array, RegExp]>([
    [
      'text where frames are expected',
      undefined,
      (t) => `${1000 + t},2000\n`,
      /sends text, such as `\d+,2000`\. Set `codec: \{ kind: lines/,
    ],
    [
      'noise, as with a wrong baud rate',
      undefined,
      (t) => Uint8Array.of(t * 7, 255 - (t % 120), 0xf8, t),
      /cannot be read\. Most likely the baud rate is wrong \(the profile says 115200\)/,
    ],
    [
      'noise where lines are expected',
      LINES,
      (t) => Uint8Array.of(t * 7, 255 - (t % 120), 0xf8, t),
      /no lines of text: they cannot be read\. Most likely the baud/,
    ],
    [
      'lines with a column too many',
      LINES,
      (t) => `${1000 + t},2000,7\n`,
      /Lines of 3 columns come, such as `\d+,2000,7`, but codec\.columns names 2\. Correct/,
    ],
    [
      'lines whose numbers are too large',
      LINES,
      (t) => `${5000 + t},2000\n`,
      /a column is no number of its channel's bits/,
    ],
    ['words', LINES, () => 'connecting to the network\n', /no lines of numbers/],
  ])('%s', async (_what, codec, line, says) => {
    const { troubles, live, warnings } = await troublesAfter(
      4000,
      (t) => {
        const said = line(t);
        return typeof said === 'string' ? text(said) : said;
      },
      codec,
    );
    expect(troubles).toHaveLength(1);
    expect(troubles[0]).toMatchObject({ what: 'link', state: 'wrong' });
    expect(`${troubles[0].says} ${troubles[0].remedy}`).toMatch(says);
    // A check that is asked for now says the same.
    expect(live.frame.reason).toMatch(says);
    expect(warnings.filter((warning) => says.test(warning))).not.toEqual([]);
  });

  it('frames where lines are expected, and frames without a word of what they are', async () => {
    const samples = (t: number, glove: ReturnType<typeof heardBy>) =>
      glove.samples(t * 1000, 0, Uint16Array.of(wave(t), 900), 2);
    const lines = await troublesAfter(4000, samples, LINES);
    expect(lines.troubles[0].says).toMatch(/profile expects lines/);
    const deaf = await troublesAfter(4000, samples);
    expect(deaf.troubles[0]).toMatchObject({ says: expect.stringMatching(/does not say what they are/) });
    expect(deaf.troubles[0].remedy).toMatch(/its RX/);
  });

  it('why a link is down, and that it breaks again and again', async () => {
    const rig = await troublesAfter(400, (t, glove) =>
      t === 0 ? glove.hello(hello()) : glove.samples(t * 1000, 0, Uint16Array.of(wave(t), wave(t)), 2),
    );
    const gone = new TautlineError('portMissing', '/dev/ttyUSB7: no such port.', 'Plug it in.');
    for (let i = 0; i < 3; i++) {
      rig.enter('live');
      await rig.clock.advance(500);
      rig.enter('lost', gone);
      rig.enter('waiting', gone);
      await rig.clock.advance(500);
    }
    expect(rig.live.readTroubles()).toEqual([
      { what: 'link', state: 'wrong', says: '/dev/ttyUSB7: no such port.', remedy: 'Plug it in.' },
      expect.objectContaining({
        what: 'link',
        says: expect.stringMatching(/broke \d times in the last five/),
      }),
    ]);
  });

  it('frames that arrive damaged', async () => {
    const { troubles } = await troublesAfter(8000, (t, glove) => {
      if (t === 0) return glove.hello(hello());
      const bytes = glove.samples(t * 1000, 0, Uint16Array.of(wave(t), wave(t + 90)), 2).slice();
      if (t % 200 === 0) bytes[6] ^= 0x21;
      return bytes;
    });
    expect(troubles.map(({ says }) => says)).toEqual([expect.stringMatching(/2\.\d % .* arrived damaged/)]);
  });

  it('a loose wire to a sensor, also when it is well just now', async () => {
    const rig = await troublesAfter(12_000, (t, glove) => {
      if (t === 0) return glove.hello(hello());
      const loose = t > 2000 && t < 6000 && t % 300 < 12;
      return glove.samples(t * 1000, 0, Uint16Array.of(wave(t), loose ? 4095 : wave(t + 90)), 2);
    });
    expect(rig.troubles.map(({ what }) => what)).toEqual(['index.curl']);
    expect(rig.troubles[0].says).toMatch(/intermittent|railed/);
  });

  it('that its firmware is old and what a newer one brings, or that it speaks a later protocol', async () => {
    const say = (more: object) =>
      troublesAfter(1000, (t, glove) =>
        t === 0
          ? glove.hello({ ...hello(), ...more })
          : glove.samples(t * 1000, 0, Uint16Array.of(wave(t), wave(t + 90)), 2),
      );
    const old = await say({ firmwareVersion: 0x0100 });
    expect(old.troubles).toEqual([
      {
        what: 'firmware',
        state: 'attention',
        says: expect.stringMatching(
          /runs firmware 1\.0; \d\.\d comes with .* New in it: It frees the fingers/,
        ),
        remedy: expect.stringContaining('tautline firmware'),
      },
    ]);
    const later = await say({ protocol: 2 });
    expect(later.troubles).toMatchObject([
      { what: 'firmware', says: expect.stringContaining('version 2 of the link protocol') },
    ]);
    expect(later.live.frame.valid).toBe(true);
    for (const firmwareVersion of [0, 1, 0xffff])
      expect((await say({ firmwareVersion })).troubles).toEqual([]);
  });

  it('what it sends and the profile does not name, with the lines to add', async () => {
    const more = hello();
    const { troubles } = await troublesAfter(1000, (t, glove) =>
      t === 0
        ? glove.hello({
            ...more,
            channels: [...more.channels, { role: 'stick.x', bits: 12 }, { role: 'stick.y', bits: 10 }],
            actuators: [...more.actuators, { role: 'thumb', kind: 'vibration' }],
          })
        : glove.samples(t * 1000, t === 500 ? 0b1000 : 0, Uint16Array.of(wave(t), wave(t), 2000, 500), 4),
    );
    expect(troubles.map(({ says, remedy }) => `${says} ${remedy}`)).toEqual([
      'The glove sends stick.x and stick.y, which the profile does not name. Add under channels: ' +
        '{ role: stick.x, bits: 12, open: 0, closed: 4095, centre: 2048 }; ' +
        '{ role: stick.y, bits: 10, open: 0, closed: 1023, centre: 512 }.',
      'The glove has a vibration on thumb, which the profile does not name. Add under actuators: { role: thumb, kind: vibration }.',
      'The glove sends button 3, which the profile does not name. Add under buttons: NAME: 3.',
    ]);
    expect(troubles.every(({ state }) => state === 'attention')).toBe(true);
  });

  it('a channel of the profile that it does not send', async () => {
    const { troubles } = await troublesAfter(1000, (t, glove) =>
      t === 0
        ? glove.hello({ ...hello(), channels: [HELLO.channels[0]] })
        : glove.samples(t * 1000, 0, Uint16Array.of(wave(t)), 1),
    );
    expect(troubles).toMatchObject([{ what: 'index.curl', state: 'wrong' }]);
    expect(troubles[0].says).toMatch(/does not send it/);
  });
});
