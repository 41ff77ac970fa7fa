import { describe, expect, it } from 'vitest';
import { createGloveFrames } from '../../src/link/glove-frames.js';
import { createStrayBytes } from '../../src/link/stray-bytes.js';
import { random } from '../sensing/glove-signals.js';

const text = (line: string) => new TextEncoder().encode(line);
const nothing = () => {};
const frames = createGloveFrames({
  askHello: nothing,
  resist: nothing,
  release: nothing,
  ping: nothing,
  rate: nothing,
  pulse: nothing,
});

describe('a look at bytes that are not understood', () => {
  it('knows lines of numbers, and shows one', () => {
    const stray = createStrayBytes();
    expect(stray.look()).toBeUndefined();
    for (let i = 0; i < 20; i++) stray.see(text(`${1000 + i},2000,3000\r\n`));
    expect(stray.look()).toEqual({ kind: 'text', line: '1019,2000,3000' });
  });

  it('shows no words: they may be private', () => {
    const stray = createStrayBytes();
    for (let i = 0; i < 20; i++) stray.see(text(`joined the network of Kim, signal ${i}\n`));
    expect(stray.look()).toEqual({ kind: 'text' });
  });

  it('knows frames with the right CRC', () => {
    const stray = createStrayBytes();
    for (let i = 0; i < 5; i++) stray.see(frames.samples(i, 0, Uint16Array.of(1, 2, 3), 3));
    expect(stray.look()).toEqual({ kind: 'frames' });
  });

  it('calls noise unreadable, however it is cut, and forgets it with the connection', () => {
    const uniform = random(3);
    for (let seed = 0; seed < 50; seed++) {
      const stray = createStrayBytes();
      for (let i = 0; i < 40; i++) {
        stray.see(Uint8Array.from({ length: 1 + Math.floor(200 * uniform()) }, () => 256 * uniform()));
      }
      expect(stray.look()).toEqual({ kind: 'unreadable' });
      stray.reset();
      expect(stray.look()).toBeUndefined();
    }
  });

  it('takes a chunk that is longer than what it keeps', () => {
    const stray = createStrayBytes();
    stray.see(text('5,6,7\n'.repeat(1000)));
    expect(stray.look()).toEqual({ kind: 'text', line: '5,6,7' });
  });
});
