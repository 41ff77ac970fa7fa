import { expect, it } from 'vitest';
import { createSignal } from '../../src/page/signal.js';

it('tells every listener, in their order, until it is removed', () => {
  const signal = createSignal<number>();
  const heard: string[] = [];
  const off = signal.on((value) => heard.push(`a${value}`));
  signal.on((value) => heard.push(`b${value}`));
  signal.emit(1);
  off();
  off();
  signal.emit(2);
  expect(heard).toEqual(['a1', 'b1', 'b2']);
});
