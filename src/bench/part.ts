/** One of the six parts of the page. */
export interface Part {
  readonly name: string;
  readonly label: string;
  /** Inside of a 24 × 24 drawing. */
  readonly icon: string;
  readonly panel: HTMLElement;
  /** The user went there, or left. */
  show?(shown: boolean): void;
}
