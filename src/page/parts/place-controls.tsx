import type { ReadonlySignal } from '@preact/signals';
import type { Vector3 } from 'three';
import { Slider } from './slider.js';

/** Reach of the sliders around the palm, mm. */
const REACH_MM = 120;

interface PlaceControlsProps {
  /** Where the object is now, in the hand's frame, m. */
  position: ReadonlySignal<Vector3>;
  move(to: Vector3): void;
  /** It is to go where it lies by itself. */
  reset(): void;
}

/** Where the object lies in the hand, by three sliders. */
export function PlaceControls({ position, move, reset }: PlaceControlsProps) {
  const { x, y, z } = position.value;
  const from = () => position.peek().clone();
  return (
    <fieldset>
      <legend>Place</legend>
      <p class="lead">Drag the object in the picture, or use these.</p>
      <Slider
        label="Towards the tips"
        min={-20}
        max={220}
        unit="mm"
        value={-z * 1000}
        change={(mm) => move(from().setZ(-mm / 1000))}
      />
      <Slider
        label="Away from the palm"
        min={-20}
        max={REACH_MM}
        unit="mm"
        value={-y * 1000}
        change={(mm) => move(from().setY(-mm / 1000))}
      />
      <Slider
        label="Across the palm"
        min={-REACH_MM}
        max={REACH_MM}
        unit="mm"
        value={x * 1000}
        change={(mm) => move(from().setX(mm / 1000))}
      />
      <button type="button" onClick={reset}>
        Put into the palm
      </button>
    </fieldset>
  );
}
