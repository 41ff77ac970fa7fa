import { describe, expect, it } from 'vitest';
import { parseProfile } from '../../src/config/load.js';
import type { LinesProfile } from '../../src/config/schema.js';
import type { DeviceState, Hello } from '../../src/link/codec.js';
import { createLineCodec } from '../../src/link/lines.js';
import { STOP_FREE, STOP_MAX } from '../../src/protocol/link-table.js';
import { uniform } from './time-sync-paths.js';

interface Reading {
  timeUs: number;
  buttons: number;
  counts: number[];
}

const ROLES = ['thumb.curl', 'index.curl', 'middle.curl'];

/** A codec for three channels, and all that it decodes. @param codecYaml keys of `codec` in place of the usual */
function textGlove(codecYaml: Record<string, unknown> = {}) {
  const profile = parseProfile(
    JSON.stringify({
      profile: 1,
      gloves: [
        {
          name: 'text',
          hand: 'left',
          link: { kind: 'serial', path: '/dev/x' },
          codec: {
            kind: 'lines',
            columns: ['timeMs', ...ROLES, 'buttons', 'skip', 'batteryMv'],
            output: 'S {index.us} {thumb.stop} {thumb.effort}',
            ...codecYaml,
          },
          channels: ROLES.map((role) => ({ role, open: 100, closed: 3000 })),
          actuators: [
            { role: 'thumb', slack: 0 },
            { role: 'index', servoUs: [2000, 1000], slack: 0 },
          ],
        },
      ],
    }),
    'test.yaml',
  );
  const [glove] = profile.gloves;
  const heard = { hellos: [] as Hello[], readings: [] as Reading[], states: [] as DeviceState[] };
  const codec = createLineCodec(glove.codec as LinesProfile, glove.hand, glove.channels, glove.actuators, {
    hello: (hello) => heard.hellos.push(hello),
    samples: ({ deviceTimeUs, buttons, channels, channelCount }) =>
      heard.readings.push({
        timeUs: deviceTimeUs,
        buttons,
        counts: Array.from(channels.subarray(0, channelCount)),
      }),
    state: (state) => heard.states.push(state),
    pong: () => expect.unreachable(),
    note: () => expect.unreachable(),
  });
  const say = (text: string, arrivalUs = 0) => codec.push(new TextEncoder().encode(text), arrivalUs);
  return { codec, heard, say };
}
const textOf = (bytes: Uint8Array) => new TextDecoder().decode(bytes);

describe('text lines', () => {
  it('reads columns by their place, whatever ends the lines and wherever they are cut', () => {
    const text =
      '12,100,200,300,5,x y,3900\r\n13,101,201,301,0,,3890\n\n14, 102 ,202,+303,1,,3880\r15,4095,0,1.6,0,,3880\n';
    for (const size of [1, 2, 7, 1000]) {
      const { codec, heard } = textGlove();
      const bytes = new TextEncoder().encode(text);
      for (let i = 0; i < bytes.length; i += size) codec.push(bytes.subarray(i, i + size));
      expect(heard.readings).toEqual([
        { timeUs: 12_000, buttons: 5, counts: [100, 200, 300] },
        { timeUs: 13_000, buttons: 0, counts: [101, 201, 301] },
        { timeUs: 14_000, buttons: 1, counts: [102, 202, 303] },
        { timeUs: 15_000, buttons: 0, counts: [4095, 0, 2] },
      ]);
      expect(codec.counters).toMatchObject({ frames: 4, badCrc: 0, malformed: 0, bytes: text.length });
      expect(heard.states.map(({ batteryMv }) => batteryMv)).toEqual([3900, 3880]);
    }
  });

  it('says for the glove what it is, once three lines have fitted, and again after a reconnection', () => {
    const { codec, heard, say } = textGlove();
    say('1,1,1,1,0,,0\n2,1,1,1,0,,0\nhuh\n3,1,1,1,0,,0\n4,1,1,1,0,,0\n');
    expect(heard.hellos).toEqual([]);
    say('5,1,1,1,0,,0\n6,1,1,1,0,,0\n');
    expect(heard.hellos).toEqual([
      {
        protocol: 1,
        hand: 'left',
        deviceId: '0000000000000000',
        firmwareVersion: 0,
        sampleRateHz: 100,
        channels: ROLES.map((role) => ({ role, bits: 12 })),
        actuators: [
          { role: 'thumb', kind: 'stringStop' },
          { role: 'index', kind: 'stringStop' },
        ],
      },
    ]);
    codec.reset();
    say('7,1,1,1,0,,0\n'.repeat(3));
    expect(heard.hellos).toHaveLength(2);
  });

  it.each([
    ['a column too few', '1,2,3,4,5,6', 'malformed'],
    ['a column too many', '1,2,3,4,5,6,7,8', 'malformed'],
    ['a letter', '1,2,x3,4,5,6,7', 'badCrc'],
    ['an empty count', '1,2,,4,5,6,7', 'badCrc'],
    ['a count beyond the converter', '1,2,4096,4,5,6,7', 'badCrc'],
    ['a negative count', '1,2,-4,4,5,6,7', 'badCrc'],
    ['two points in a number', '1,2,4.0.1,4,5,6,7', 'badCrc'],
    ['a number without end', `1,2,${'1'.repeat(40)},4,5,6,7`, 'badCrc'],
    ['no end', '9'.repeat(5000), 'oversize'],
  ] as const)('%s costs that line alone', (_, line, counter) => {
    const { codec, heard, say } = textGlove();
    say(`1,1,1,1,0,,0\n${line}\n2,1,1,1,0,,0\n`);
    expect(heard.readings).toHaveLength(2);
    expect(codec.counters).toMatchObject({ frames: 2, [counter]: 1 });
    const { badCrc, malformed, oversize } = codec.counters;
    expect(badCrc + malformed + oversize).toBe(1);
  });

  it('does not count half a first line, nor a header', () => {
    const half = textGlove();
    half.say('2,300,0,,0\n1,1,1,1,0,,0\nhuh\n');
    expect(half.codec.counters).toMatchObject({ frames: 1, malformed: 1 });
    const headed = textGlove({ header: true });
    headed.say('0,,0\nms,thumb,index,middle,b,-,mV\n1,1,1,1,0,,0\n');
    expect(headed.codec.counters).toMatchObject({ frames: 1, malformed: 0, badCrc: 0 });
  });

  it('reads hexadecimal, and columns that are padded with blanks', () => {
    const { heard, say } = textGlove({ radix: 16, separator: ' ', columns: [...ROLES, 'timeUs'] });
    say('  0fF   0x10 a  1F4\n');
    expect(heard.readings).toEqual([{ timeUs: 500, buttons: 0, counts: [255, 16, 10] }]);
    const tabs = textGlove({ separator: '; ', columns: ROLES });
    tabs.say('1; 2; 3\n1;2;3\n');
    expect(tabs.heard.readings).toMatchObject([{ counts: [1, 2, 3] }]);
  });

  it('keeps time over the wrap of a millisecond counter', () => {
    const { heard, say } = textGlove();
    say(`${2 ** 32 - 1},1,1,1,0,,0\n0,1,1,1,0,,0\n`);
    const [a, b] = heard.readings.map(({ timeUs }) => timeUs);
    expect((b - a + 2 ** 32) % 2 ** 32).toBe(1000);
  });

  it('makes an even time from arrivals when the glove sends none', () => {
    const { heard, say } = textGlove({ columns: ROLES, sampleRateHz: 100 });
    // It says 100 lines a second but gives 96, and they arrive in bursts of 16 ms.
    const periodUs = 1e6 / 96;
    for (let i = 0; i < 3000; i++) say('1,2,3\n', Math.ceil((1e6 + i * periodUs) / 16_000) * 16_000);
    const steps = heard.readings.slice(1).map(({ timeUs }, i) => timeUs - heard.readings[i].timeUs);
    expect(Math.min(...steps)).toBeGreaterThan(0);
    const settled = steps.slice(1000);
    expect(settled.reduce((sum, step) => sum + step, 0) / settled.length).toBeCloseTo(periodUs, -2);
    for (const step of settled) expect(Math.abs(step - periodUs)).toBeLessThan(1000);
    // A pause of a second is not caught up in small steps.
    say('1,2,3\n', 1e6 + 3000 * periodUs + 1e6);
    expect(heard.readings.at(-1)!.timeUs - heard.readings.at(-2)!.timeUs).toBeGreaterThan(900_000);
    // Without arrivals, as in a test of a file: counted.
    const counted = textGlove({ columns: ROLES, sampleRateHz: 50 });
    counted.say('1,2,3\n'.repeat(3));
    expect(counted.heard.readings.map(({ timeUs }) => timeUs)).toEqual([0, 20_000, 40_000]);
  });

  it('writes the output line, and pays strings out to free them', () => {
    const { codec } = textGlove();
    const stops = Uint16Array.of(STOP_MAX / 2, STOP_MAX / 4);
    const efforts = Uint8Array.of(255, 51);
    expect(textOf(codec.resist(100, stops, efforts, 2))).toBe('S 1750 0.5 1\n');
    expect(textOf(codec.resist(100, Uint16Array.of(0, 0), efforts, 2))).toBe('S 2000 0 1\n');
    expect(textOf(codec.resist(100, Uint16Array.of(5, STOP_MAX), Uint8Array.of(1, 1), 2))).toBe(
      'S 1000 0.0001 0.004\n',
    );
    expect(textOf(codec.resist(100, Uint16Array.of(STOP_FREE, 0), efforts, 2))).toBe('S 2000 1 0\n');
    expect(textOf(codec.release())).toBe('S 1000 1 0\n');
    expect(textOf(textGlove({ release: 'FREE' }).codec.release())).toBe('FREE\n');
    expect(textOf(textGlove({ release: 'FREE\r\n' }).codec.release())).toBe('FREE\r\n');
  });

  it('has nothing to send for what such a glove does not know', () => {
    const { codec } = textGlove();
    for (const bytes of [codec.askHello(), codec.ping(1), codec.rate(100), codec.pulse(0, 1, 1, 1)])
      expect(bytes).toHaveLength(0);
    expect(codec.plain).toBe(true);
  });

  it('decodes every clean line out of ten million bytes of garbled text, and no other', () => {
    const random = uniform(7);
    const pick = (n: number) => Math.floor(random() * n);
    const utf8 = new TextEncoder();
    const chunks: Uint8Array[] = [];
    let total = 0;
    let expected = 0;
    let sum = 0;
    const clean = () => {
      const a = pick(4096);
      expected++;
      sum += a;
      return `${pick(1e6)},${a},${pick(4096)},${pick(4096)},${pick(65536)},ok,${pick(5000)}`;
    };
    const garbled = (): string | Uint8Array => {
      const line = `${pick(1e6)},1,2,3,4,no,5`;
      switch (pick(7)) {
        case 0:
          return Uint8Array.from({ length: pick(300) }, () => {
            const byte = pick(256);
            return byte === 10 || byte === 13 ? 0 : byte;
          });
        case 1:
          return line.slice(0, line.lastIndexOf(','));
        case 2:
          return `${line},6`;
        case 3:
          return `${line}z`;
        case 4:
          return line.replace(',1,', ',1 1,');
        case 5:
          return `${line}${'7'.repeat(pick(3000) + 20)}`;
        default:
          return line.replace(',2,', ',,');
      }
    };
    while (total < 10e6) {
      const bad = random() < 0.5;
      const body = bad ? garbled() : clean();
      for (const part of [
        typeof body === 'string' ? utf8.encode(body) : body,
        utf8.encode(pick(2) ? '\n' : '\r\n'),
      ]) {
        chunks.push(part);
        total += part.length;
      }
    }
    const all = Buffer.concat(chunks);

    let readings = 0;
    let heardSum = 0;
    const { gloves } = parseProfile(
      JSON.stringify({
        profile: 1,
        gloves: [
          {
            name: 'text',
            hand: 'left',
            link: { kind: 'serial', path: '/dev/x' },
            codec: { kind: 'lines', columns: ['timeMs', ...ROLES, 'buttons', 'skip', 'batteryMv'] },
            channels: ROLES.map((role) => ({ role, open: 100, closed: 3000 })),
          },
        ],
      }),
      'test.yaml',
    );
    const codec = createLineCodec(gloves[0].codec as LinesProfile, 'left', gloves[0].channels, [], {
      hello: () => {},
      samples: ({ channels }) => {
        readings++;
        heardSum += channels[0];
      },
      state: () => {},
      pong: () => {},
      note: () => {},
    });
    const cpu = process.cpuUsage();
    for (let at = 0; at < all.length; ) {
      const size = 1 + pick(400);
      codec.push(all.subarray(at, at + size));
      at += size;
    }
    const { user, system } = process.cpuUsage(cpu);
    expect(readings).toBe(expected);
    expect(heardSum).toBe(sum);
    expect(codec.counters.frames).toBe(expected);
    expect((user + system) / 1e6).toBeLessThan(5);
  });
});
