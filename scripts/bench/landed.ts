import { readFileSync, writeFileSync } from 'node:fs';
import type { Figures } from './figure.js';

/** Figures of the version that landed last, by name. */
export type Landed = Readonly<Record<string, number>>;

const FILE = 'scripts/bench/landed.json';

/** Only what was measured against a reference in the same run means the same on another machine. */
const isRatio = (unit: string): boolean => unit.startsWith('x (');

export const readLanded = (file = FILE): Landed => JSON.parse(readFileSync(file, 'utf8')) as Landed;

/** The ratios of a run, over those landed before: what was not measured stays. */
export function withRatios(landed: Landed, figures: Figures): Landed {
  const ratios = Object.entries(figures)
    .filter(([, { unit }]) => isRatio(unit))
    .map(([name, { value }]) => [name, Number(value.toPrecision(3))] as const);
  return { ...landed, ...Object.fromEntries(ratios) };
}

export function saveLanded(figures: Figures, file = FILE): void {
  writeFileSync(file, `${JSON.stringify(withRatios(readLanded(file), figures), null, 2)}\n`);
}

/** Such as `-4 %` since it landed; empty for what has no landed figure. */
export function changeOf(name: string, value: number, landed: Landed): string {
  const before = landed[name];
  if (before === undefined) return '';
  const percent = Math.round(100 * (value / before - 1));
  return `${percent > 0 ? '+' : ''}${percent} %`;
}
