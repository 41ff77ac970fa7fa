import { make, setText } from '../dom.js';

let count = 0;

/** A row of large radio buttons. */
export function choice<T extends string>(
  legend: string,
  options: readonly { value: T; label: string }[],
  chosen: T,
  choose: (value: T) => void,
): HTMLFieldSetElement {
  const name = `choice${++count}`;
  const fieldset = make('fieldset', { class: 'choice' }, make('legend', {}, legend));
  for (const { value, label } of options) {
    const input = make('input', { type: 'radio', name, value, checked: value === chosen });
    input.addEventListener('change', () => choose(value));
    fieldset.append(make('label', {}, input, make('span', {}, label)));
  }
  return fieldset;
}

export interface Slider {
  readonly element: HTMLElement;
  set(value: number): void;
}

/** A slider with its name and its value in words. */
export function slider(
  label: string,
  { min, max, step = 1, unit }: { min: number; max: number; step?: number; unit: string },
  change: (value: number) => void,
): Slider {
  const id = `slider${++count}`;
  const input = make('input', { type: 'range', id, min, max, step });
  const output = make('output', { for: id });
  const say = () => {
    setText(output, `${input.value} ${unit}`);
    input.setAttribute('aria-valuetext', `${input.value} ${unit}`);
  };
  input.addEventListener('input', () => {
    say();
    change(Number(input.value));
  });
  say();
  return {
    element: make('div', { class: 'slider' }, make('label', { for: id }, label), output, input),
    set(value) {
      input.value = String(Math.round(value / step) * step);
      say();
    },
  };
}
