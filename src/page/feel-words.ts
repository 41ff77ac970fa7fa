import type { Revealed } from '../guide/feel-trial.js';
import { FEEL_RANGE, FEELS, type Feel, type WearerFeel } from '../resistance/wearer-feel.js';

/** What each of them is, beside its name. */
export const FEEL_MEANING: Record<Feel, string> = {
  effort: 'how hard a stop holds',
  stiffness: 'how hard a surface feels',
  texture: 'how rough a surface feels',
  knock: 'how strong a short pulse is',
  slack: 'how loosely a free string hangs',
};

/** Parts are shown in percent. */
const isPart = (what: Feel): boolean => what !== 'stiffness';
export const unitOf = (what: Feel): string => (isPart(what) ? '%' : FEEL_RANGE[what].unit);
export const shownValue = (what: Feel, value: number): number =>
  Number((isPart(what) ? value * 100 : value).toPrecision(4));
export const fromShown = (what: Feel, shown: number): number => (isPart(what) ? shown / 100 : shown);
export const valueText = (what: Feel, value: number): string =>
  `${shownValue(what, value)}\u00a0${unitOf(what)}`;

/** `effort 35 %, knock 60 %`; undefined: nothing of the wearer's own. */
export function inUseText(feel: WearerFeel): string | undefined {
  const own = FEELS.flatMap((what) => {
    const value = feel[FEEL_RANGE[what].key];
    return value === undefined ? [] : [`${what} ${valueText(what, value)}`];
  });
  return own.length === 0 ? undefined : own.join(', ');
}

/** Chance does this often in one case of four: no preference is read from it. Common practice is stricter still. */
const HARDLY = 0.25;

/** What the choices say, once every round is decided. */
export function conclusionOf(what: Feel, { a, b, chosen, byChance }: Revealed): string[] {
  const neither = chosen.same > 0 ? `, neither ${times(chosen.same)}` : '';
  return [
    `${valueText(what, a)} was chosen ${times(chosen.a)}, ${valueText(what, b)} ${times(chosen.b)}${neither}.`,
    `Tossing a coin would be as one-sided ${(byChance * 100).toFixed(0)} % of the time${
      byChance > HARDLY ? ': take more rounds, or values further apart, to be sure' : ''
    }.`,
  ];
}
const times = (n: number): string => (n === 1 ? 'once' : n === 2 ? 'twice' : `${n} times`);
