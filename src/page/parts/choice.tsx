import { useRef } from 'preact/hooks';

interface ChoiceProps<T extends string> {
  legend: string;
  options: readonly { value: T; label: string }[];
  chosen: T | undefined;
  choose(value: T): void;
}

let count = 0;

/** A row of large radio buttons. */
export function Choice<T extends string>({ legend, options, chosen, choose }: ChoiceProps<T>) {
  // Of the whole page, which useId is not: each part is drawn by itself.
  const name = useRef('');
  name.current ||= `choice-${++count}`;
  return (
    <fieldset class="choice">
      <legend>{legend}</legend>
      {options.map(({ value, label }) => (
        <label key={value}>
          <input
            type="radio"
            name={name.current}
            value={value}
            checked={value === chosen}
            onChange={() => choose(value)}
          />
          <span>{label}</span>
        </label>
      ))}
    </fieldset>
  );
}
