import { button, make } from '../dom.js';
import type { EventLog, LogEntry } from '../event-log.js';
import { saveText, tableText } from '../save.js';

const SIGN: Record<LogEntry['kind'], string> = {
  fault: '⚠',
  well: '✓',
  armed: '●',
  disarmed: '○',
  limit: '▼',
};
const SHOWN = 60;

/** The event log on the bench. */
export function createLogList(log: EventLog): HTMLElement {
  const list = make('ol', { class: 'log-lines' });
  const empty = make('p', { class: 'lead' }, 'No fault, arming or disarming since this page was opened.');
  // Scrolled by keys.
  const box = make(
    'div',
    { class: 'log-box', tabindex: 0, role: 'region', 'aria-label': 'Events, newest first' },
    empty,
    list,
  );
  const clear = button('Clear', log.clear, { class: 'small', 'aria-label': 'Clear the events' });
  const save = button('CSV', () => saveText('tautline-events.csv', csvOf(log.entries)), {
    class: 'small',
    'aria-label': 'Save the events as CSV',
  });
  const update = () => {
    const shown = log.entries.slice(0, SHOWN);
    empty.hidden = shown.length > 0;
    clear.disabled = save.disabled = shown.length === 0;
    list.replaceChildren(
      ...shown.map(({ at, of, kind, text, times }) =>
        make(
          'li',
          { 'data-kind': kind },
          make('time', { datetime: at.toISOString() }, clockOf(at)),
          make('span', { 'aria-hidden': 'true' }, SIGN[kind]),
          make('span', {}, `${of}: ${text}${times > 1 ? ` (${times} times)` : ''}`),
        ),
      ),
    );
  };
  log.changed.on(update);
  update();
  return make(
    'section',
    { class: 'log', 'aria-label': 'Events' },
    make('div', { class: 'heading' }, make('h3', { class: 'wide' }, 'Events'), save, clear),
    box,
  );
}

const csvOf = (entries: readonly LogEntry[]): string =>
  tableText(
    ['time', 'of', 'kind', 'event', 'times'],
    [...entries]
      .reverse()
      .map(({ at, of, kind, text, times }) => [at.toISOString(), of, kind, text, String(times)]),
  );

/** Hours, minutes and seconds of the wearer's clock. */
const clockOf = (at: Date): string => at.toTimeString().slice(0, 8);
