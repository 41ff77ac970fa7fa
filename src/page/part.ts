import type { HandSide } from '../hand/joints.js';
import type { View } from './scene/orbit.js';

/** Goes where a channel is plotted. */
export type OpenPlot = (side: HandSide, role: string) => void;

/** Goes where a glove is checked, or its servos are tried. */
export type Lead = (to: 'check' | 'servos', side: HandSide) => void;

/** What one of the six parts of the page shows; its name and its icon are in part-list.tsx. */
export interface Part {
  readonly panel: HTMLElement;
  /** From where it is seen best; the back, where it says nothing. */
  readonly view?: View;
  /** The user went there, or left. */
  show?(shown: boolean): void;
}
