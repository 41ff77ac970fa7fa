/** Something wrong with a profile, at a path of keys and indices from its root. */
export interface Problem {
  path: readonly string[];
  /** Whether the key itself is wrong, rather than its value. */
  at: 'key' | 'value';
  readonly text: string;
}
