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
export function LogList({ log }: { log: EventLog }) {
  const entries = log.entries.value;
  const save = () => saveText('tautline-events.csv', csvOf(entries));
  const none = entries.length === 0;
  return (
    <section class="log" aria-label="Events">
      <div class="heading">
        <h3 class="wide">Events</h3>
        <button
          type="button"
          class="small"
          aria-label="Save the events as CSV"
          disabled={none}
          onClick={save}
        >
          CSV
        </button>
        <button type="button" class="small" aria-label="Clear the events" disabled={none} onClick={log.clear}>
          Clear
        </button>
      </div>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: scrolled by keys. */}
      <section class="log-box" tabIndex={0} aria-label="Events, newest first">
        <p class="lead" hidden={!none}>
          No fault, arming or disarming since this page was opened.
        </p>
        <ol class="log-lines">
          {entries.slice(0, SHOWN).map((entry, i) => (
            <LogLine key={entries.length - i} {...entry} />
          ))}
        </ol>
      </section>
    </section>
  );
}

const LogLine = ({ at, of, kind, text, times }: LogEntry) => (
  <li data-kind={kind}>
    <time datetime={at.toISOString()}>{clockOf(at)}</time>
    <span aria-hidden="true">{SIGN[kind]}</span>
    <span>{`${of}: ${text}${times > 1 ? ` (${times} times)` : ''}`}</span>
  </li>
);

const csvOf = (entries: readonly LogEntry[]): string =>
  tableText(
    ['time', 'of', 'kind', 'event', 'times'],
    [...entries]
      .reverse()
      .map(({ at, of, kind, text, times }) => [at.toISOString(), of, kind, text, String(times)]),
  );

/** Hours, minutes and seconds of the wearer's clock. */
const clockOf = (at: Date): string => at.toTimeString().slice(0, 8);
