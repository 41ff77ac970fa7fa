import type { Vector3 } from 'three';
import { button, make } from '../dom.js';
import { slider } from './controls.js';

/** Reach of the sliders around the palm, mm. */
const REACH_MM = 120;

/** Where the object lies in the hand, by three sliders. */
export interface PlaceControls {
  readonly element: HTMLElement;
  /** It has moved there by other means, m. */
  show(at: Vector3): void;
}

/**
 * @param position where it is now, m; read, never written
 * @param move it is to go there
 * @param reset it is to go where it lies by itself
 */
export function createPlaceControls(
  position: Vector3,
  move: (to: Vector3) => void,
  reset: () => void,
): PlaceControls {
  const across = slider('Across the palm', { min: -REACH_MM, max: REACH_MM, unit: 'mm' }, (mm) =>
    move(position.clone().setX(mm / 1000)),
  );
  const along = slider('Towards the tips', { min: -20, max: 220, unit: 'mm' }, (mm) =>
    move(position.clone().setZ(-mm / 1000)),
  );
  const off = slider('Away from the palm', { min: -20, max: REACH_MM, unit: 'mm' }, (mm) =>
    move(position.clone().setY(-mm / 1000)),
  );
  return {
    element: make(
      'fieldset',
      {},
      make('legend', {}, 'Place'),
      make('p', { class: 'lead' }, 'Drag the object in the picture, or use these.'),
      along.element,
      off.element,
      across.element,
      button('Put into the palm', reset),
    ),
    show(at) {
      along.set(-at.z * 1000);
      off.set(-at.y * 1000);
      across.set(at.x * 1000);
    },
  };
}
