import { useRef } from 'preact/hooks';

interface SliderProps {
  label: string;
  min: number;
  max: number;
  step?: number;
  unit: string;
  value: number;
  change(value: number): void;
  hidden?: boolean;
}

let count = 0;

/** A slider with its name and its value in words. */
export function Slider({ label, min, max, step = 1, unit, value, change, hidden = false }: SliderProps) {
  const id = useRef('');
  id.current ||= `slider-${++count}`;
  // What lies beyond its ends, or between its steps, is shown as near as it goes.
  const shown = Math.min(max, Math.max(min, Math.round(value / step) * step));
  const text = `${shown} ${unit}`;
  return (
    <div class="slider" hidden={hidden}>
      <label for={id.current}>{label}</label>
      <output for={id.current}>{text}</output>
      <input
        type="range"
        id={id.current}
        min={min}
        max={max}
        step={step}
        aria-valuetext={text}
        value={shown}
        onInput={({ currentTarget }) => change(Number(currentTarget.value))}
      />
    </div>
  );
}
