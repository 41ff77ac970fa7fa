import { FINGERS } from '../../hand/joints.js';
import { LIMIT_TEXT, type LimitName } from '../../resistance/limits.js';
import { make, setAttribute, setText } from '../dom.js';
import type { LiveHand } from '../live.js';

const COLUMNS = ['Stop', 'Effort', 'Tension', 'Heat'] as const;
/** Part of a limit from which a bar says that it is near. */
const NEAR = 0.8;

/** What each finger is held at, against its limits, and why less than was asked. */
export function createForceTable(): { element: HTMLElement; update(hand: LiveHand): void } {
  const rows = FINGERS.map((finger) => {
    const cells = COLUMNS.map(() => {
      const text = make('span');
      const bar = make('i');
      return {
        text,
        bar,
        cell: make('td', {}, text, make('span', { class: 'meter', 'aria-hidden': 'true' }, bar)),
      };
    });
    const name = finger.charAt(0).toUpperCase() + finger.slice(1);
    const row = make(
      'tr',
      { 'data-finger': finger },
      make('th', { scope: 'row' }, name),
      ...cells.map(({ cell }) => cell),
    );
    return { finger, name, row, cells };
  });
  const tensionHead = make('th', { scope: 'col' }, 'Tension');
  const head = make('tr', {}, make('th', { scope: 'col' }, 'Finger'));
  for (const column of COLUMNS)
    head.append(column === 'Tension' ? tensionHead : make('th', { scope: 'col' }, column));
  const why = make('ul', { class: 'why', 'aria-label': 'Why less is given than was asked' });
  const element = make(
    'div',
    {},
    make(
      'table',
      { class: 'forces' },
      make('caption', {}, 'What each finger feels'),
      make('thead', {}, head),
      make('tbody', {}, ...rows.map(({ row }) => row)),
    ),
    why,
  );
  let reasons = '';
  const set = (cell: (typeof rows)[number]['cells'][number], text: string, part: number) => {
    setText(cell.text, text);
    cell.bar.style.transform = `scaleX(${Math.min(1, Math.max(0, part)).toFixed(3)})`;
    setAttribute(cell.bar, 'data-near', part >= NEAR ? 'true' : undefined);
  };
  return {
    element,
    update({ resistance, info }) {
      const mostN = info.maxTensionN ?? 8;
      setText(tensionHead, `Tension, of ${mostN} N`);
      const said: string[] = [];
      for (const { finger, name, row, cells } of rows) {
        const report = resistance?.fingers[finger];
        const held = report?.stopAt !== undefined;
        setAttribute(row, 'data-held', String(held));
        set(cells[0], report?.stopAt === undefined ? 'free' : `${Math.round(report.stopAt * 100)} %`, 0);
        set(cells[1], `${Math.round((report?.effort ?? 0) * 100)} %`, report?.effort ?? 0);
        set(cells[2], `${(report?.tensionN ?? 0).toFixed(1)} N`, (report?.tensionN ?? 0) / mostN);
        set(cells[3], `${Math.round((report?.heat ?? 0) * 100)} %`, report?.heat ?? 0);
        if (!resistance?.armed) continue;
        for (const limit of report?.limits ?? [])
          said.push(`${name}: ${LIMIT_TEXT[limit as LimitName] ?? limit}`);
      }
      const text = said.join('\n');
      if (text === reasons) return;
      reasons = text;
      why.replaceChildren(...said.map((line) => make('li', {}, line)));
    },
  };
}
