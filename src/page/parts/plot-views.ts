import { FINGERS } from '../../hand/joints.js';
import type { HandInfo } from '../live.js';
import { COLUMN } from '../records.js';
import { roleText } from './words.js';

/** What is plotted against time. */
export const PLOT_VIEWS = ['fitted', 'raw', 'both', 'forces', 'link'] as const;
export type PlotView = (typeof PLOT_VIEWS)[number];
export const VIEW_NAME: Record<PlotView, string> = {
  fitted: 'Fitted values',
  raw: 'Raw counts',
  both: 'Raw against fitted',
  forces: 'Curl, stop and tension',
  link: 'Link',
};

/** A unit has a scale of its own. */
export type Unit = '%' | 'counts' | 'N' | 'ms' | 'Hz';

/** One line of a plot. */
export interface Series {
  label: string;
  unit: Unit;
  column: number;
  /** From what the table keeps to the unit. */
  factor: number;
  /** Of the palette. */
  colour: number;
  dash: readonly number[];
  /** Shown before anybody chose. */
  usual: boolean;
}

const SOLID: readonly number[] = [];
const DASHED = [7, 4];
const DOTTED = [2, 3];

/** Colour by finger, dash by kind: no line is told by its colour alone. */
function lineOf(role: string, index: number): Pick<Series, 'colour' | 'dash'> {
  const [first, kind] = role.split('.');
  const finger = (FINGERS as readonly string[]).indexOf(first);
  const dash = kind === 'splay' ? DASHED : finger < 0 || kind !== 'curl' ? DOTTED : SOLID;
  return { colour: finger < 0 ? index : finger, dash };
}

/** What one can be chosen of in a view; empty where all of it is shown at once. */
export function choicesOf(view: PlotView, roles: readonly string[]): { value: string; label: string }[] {
  if (view === 'both') return roles.map((role) => ({ value: role, label: roleText(role) }));
  if (view === 'forces') return FINGERS.map((finger) => ({ value: finger, label: roleText(finger) }));
  return [];
}

/** @param of the channel or finger that was chosen */
export function seriesOf(view: PlotView, roles: readonly string[], of: string | undefined): Series[] {
  const n = roles.length;
  const plain = { factor: 1, colour: 0, dash: SOLID, usual: true };
  switch (view) {
    case 'fitted':
    case 'raw':
      return roles.map((role, i) => ({
        label: roleText(role),
        unit: view === 'raw' ? ('counts' as const) : ('%' as const),
        column: view === 'raw' ? COLUMN.counts(i) : COLUMN.value(n, i),
        factor: view === 'raw' ? 1 : 100,
        ...lineOf(role, i),
        usual: role.endsWith('.curl'),
      }));
    case 'both': {
      const at = Math.max(0, roles.indexOf(of ?? ''));
      const name = roleText(roles[at] ?? '');
      return [
        { ...plain, label: `${name}, raw`, unit: 'counts', column: COLUMN.counts(at), colour: 1 },
        {
          ...plain,
          label: `${name}, fitted`,
          unit: '%',
          column: COLUMN.value(n, at),
          factor: 100,
          dash: DASHED,
        },
      ];
    }
    case 'forces': {
      const at = Math.max(0, (FINGERS as readonly string[]).indexOf(of ?? ''));
      const name = roleText(FINGERS[at]);
      return [
        { ...plain, label: `${name} curl`, unit: '%', column: COLUMN.curl(n, at), factor: 100 },
        {
          ...plain,
          label: `${name} stop`,
          unit: '%',
          column: COLUMN.stop(n, at),
          factor: 100,
          colour: 4,
          dash: DASHED,
        },
        {
          ...plain,
          label: `${name} tension`,
          unit: 'N',
          column: COLUMN.tension(n, at),
          colour: 1,
          dash: DOTTED,
        },
      ];
    }
    case 'link':
      return [
        { ...plain, label: 'From sample to page', unit: 'ms', column: COLUMN.link(n, 0) },
        { ...plain, label: 'Jitter', unit: 'ms', column: COLUMN.link(n, 1), colour: 1, dash: DASHED },
        { ...plain, label: 'Round trip', unit: 'ms', column: COLUMN.link(n, 2), colour: 3, dash: DASHED },
        { ...plain, label: 'Samples', unit: 'Hz', column: COLUMN.link(n, 3), colour: 2, dash: DOTTED },
      ];
  }
}

/** Ends of the scale of a unit; undefined: as the data has it. */
export function fullScale(
  unit: Unit,
  { channels, maxTensionN }: Pick<HandInfo, 'channels' | 'maxTensionN'>,
  bothWays: boolean,
): [number, number] | undefined {
  if (unit === '%') return bothWays ? [-105, 105] : [-5, 105];
  if (unit === 'counts') return [0, 2 ** Math.max(1, ...channels.map(({ bits }) => bits)) - 1];
  if (unit === 'N') return [0, maxTensionN ?? 8];
  return undefined;
}

/** As many places as can be read off a plot. */
export const unitText = (value: number, unit: Unit): string =>
  `${value.toFixed(unit === 'N' || unit === 'ms' ? 2 : 0)} ${unit}`.replace('-', '−');
