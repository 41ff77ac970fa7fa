import type { HandSide } from '../hand/joints.js';
import type { View } from './scene/orbit.js';

/** Goes where a channel is plotted. */
export type OpenPlot = (side: HandSide, role: string) => void;

/** Goes where a glove is checked, or its servos are tried. */
export type Lead = (to: 'check' | 'servos', side: HandSide) => void;

/** One of the six parts of the page. */
export interface Part {
  readonly name: string;
  readonly label: string;
  /** Inside of a 24 × 24 drawing; that which is shown is in part-list.tsx. */
  readonly icon?: string;
  readonly panel: HTMLElement;
  /** From where it is seen best; the back, where it says nothing. */
  readonly view?: View;
  /** The user went there, or left. */
  show?(shown: boolean): void;
}
