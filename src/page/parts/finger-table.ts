import { FINGERS } from '../../hand/joints.js';
import { LIMIT_TEXT, type LimitName } from '../../resistance/limits.js';
import { drawing, make, setAttribute, setHidden, setText } from '../dom.js';
import { CONDITION_TEXT, curlOf, type FingerCondition, fingerConditions, stopOf } from '../finger-state.js';
import { type Live, type LiveHand, neverUsed } from '../live.js';
import { createSteadyPercent } from '../steady.js';
import { createUnusedList } from './unused-list.js';

/** A shape for each condition, so that colour is never the only sign. */
const SIGN: Record<FingerCondition, string> = {
  tracked: '<circle cx="12" cy="12" r="8" fill="currentColor"/>',
  inferred:
    '<circle cx="12" cy="12" r="7" fill="none" stroke="currentColor" stroke-width="3" stroke-dasharray="5 3.8"/>',
  held: '<path d="M4 4h16v16H4z" fill="currentColor"/>',
  invalid: '<path d="M5 5l14 14M19 5L5 19" stroke="currentColor" stroke-width="3.5"/>',
};
const COLUMNS = ['Finger', 'State', 'Curl', 'Stop set', 'Tension', 'Heat'] as const;
/** Part of a limit from which a number says that it is near. */
const NEAR = 0.8;
/** Where the profile names no cap. */
const USUAL_MOST_N = 8;

const percent = (part: number): string => `${Math.round(part * 100)} %`;

/** Each finger: how it is known, its curl and where its stop is set, whether it is held now and how hard. */
export interface FingerTable {
  readonly element: HTMLElement;
  /** Why fingers are never held; put where it is read first. */
  readonly unused: HTMLElement;
  update(hand: LiveHand): void;
}

export function createFingerTable(live: Live): FingerTable {
  const rows = FINGERS.map((finger) => {
    const name = finger.charAt(0).toUpperCase() + finger.slice(1);
    const sign = make('span', { class: 'sign' });
    const condition = make('span', { class: 'condition' });
    const fill = make('i', { class: 'fill' });
    const tick = make('i', { class: 'tick' });
    const curl = make('span', { class: 'curl' });
    const stop = make('td', { class: 'stop' });
    const tension = make('td', { class: 'tension' });
    const heat = make('td', { class: 'heat' });
    const unused = make('span', { class: 'unused', hidden: true }, '⚠ Stays free');
    const row = make(
      'tr',
      { class: 'chip', 'data-finger': finger },
      make('th', { scope: 'row' }, name),
      make('td', {}, make('span', { class: 'state' }, sign, condition), unused),
      make(
        'td',
        {},
        make(
          'span',
          { class: 'curl-cell' },
          make('span', { class: 'gauge', 'aria-hidden': 'true' }, fill, tick),
          curl,
        ),
      ),
      stop,
      tension,
      heat,
    );
    const steady = createSteadyPercent();
    return { finger, name, steady, row, sign, condition, fill, tick, curl, stop, tension, heat, unused };
  });
  const heads = COLUMNS.map((column) => make('th', { scope: 'col' }, column));
  const unusedList = createUnusedList();
  const why = make('ul', { class: 'why', 'aria-label': 'Why less is given than was asked' });
  const element = make(
    'div',
    { class: 'fingers' },
    make(
      'table',
      { class: 'forces' },
      make('caption', {}, 'Fingers and forces'),
      make('thead', {}, make('tr', {}, ...heads)),
      make('tbody', {}, ...rows.map(({ row }) => row)),
    ),
    why,
  );
  let reasons = '';
  return {
    element,
    unused: unusedList.element,
    update(hand) {
      const { resistance, info } = hand;
      const conditions = fingerConditions(hand);
      const never = neverUsed(hand);
      const mostN = info.maxTensionN ?? USUAL_MOST_N;
      setText(heads[4], `Tension of ${mostN} N`);
      const limited = new Map<string, string[]>();
      unusedList.update(hand);
      rows.forEach((cells, f) => {
        const report = resistance?.fingers[cells.finger];
        const held = conditions[f] === 'held';
        const isUnused = never.some(({ role }) => role === cells.finger);
        const [curl, stop] = [curlOf(hand, f), stopOf(hand, f)];
        setAttribute(cells.row, 'data-held', String(held));
        if (cells.row.dataset.condition !== conditions[f]) {
          cells.row.dataset.condition = conditions[f];
          cells.sign.replaceChildren(drawing('0 0 24 24', SIGN[conditions[f]]));
          setText(cells.condition, CONDITION_TEXT[conditions[f]]);
        }
        setHidden(cells.unused, !isUnused);
        const shown = curl === undefined ? undefined : cells.steady(curl);
        setText(cells.curl, shown === undefined ? '–' : `${shown} %`);
        const grown = `scaleX(${(shown ?? 0) / 100})`;
        if (cells.fill.style.transform !== grown) cells.fill.style.transform = grown;
        setHidden(cells.tick, stop === undefined);
        if (stop !== undefined) cells.tick.style.left = `${(stop * 100).toFixed(1)}%`;
        setText(cells.stop, stop === undefined ? (isUnused ? '⚠ free' : 'free') : percent(stop));
        // A string that nothing pulls at has no tension, whatever its servo would give.
        const tensionN = held ? (report?.tensionN ?? 0) : undefined;
        setText(cells.tension, tensionN === undefined ? '–' : `${tensionN.toFixed(1)} N`);
        setAttribute(cells.tension, 'data-near', near((tensionN ?? 0) / mostN));
        setText(cells.heat, report ? percent(report.heat) : '–');
        setAttribute(cells.heat, 'data-near', near(report?.heat ?? 0));
        const by = stop === undefined ? undefined : report?.by;
        setAttribute(
          cells.row,
          'title',
          by === undefined ? undefined : `${held ? 'Held' : 'Stop set'} by ${live.nameOf(by)}`,
        );
        if (!resistance?.armed || isUnused) return;
        for (const limit of report?.limits ?? []) {
          const line = LIMIT_TEXT[limit as LimitName] ?? limit;
          limited.set(line, [...(limited.get(line) ?? []), cells.name]);
        }
      });
      const said = [...limited].map(([line, names]) => `${names.join(', ')}: ${line}`);
      const text = said.join('\n');
      if (text === reasons) return;
      reasons = text;
      why.replaceChildren(...said.map((line) => make('li', {}, line)));
    },
  };
}

const near = (part: number): string | undefined => (part >= NEAR ? 'true' : undefined);
