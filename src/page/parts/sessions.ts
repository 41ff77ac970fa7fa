import { button, make, setAttribute, setText } from '../dom.js';
import type { Live } from '../live.js';
import type { Part } from '../part.js';
import { ask } from '../routes.js';
import { everyWhileSeen } from '../seen.js';
import { createPlayerCard, type PlayerState } from './player-card.js';
import { createSessionRow, type SessionFile, type SessionRow } from './session-row.js';
import { bytesText, clockText } from './words.js';

const PERIOD_MS = 1000;

interface SessionList {
  folder?: string;
  recording?: {
    file: string;
    bytes: number;
    seconds: number;
    marks: number;
    running: boolean;
    failure?: string;
    /** Of the simulated gloves that are shown in place of the wearer's. */
    simulated?: true;
  };
  replay?: PlayerState & { name: string };
  sessions: SessionFile[];
  /** Simulated gloves are shown in place of those that are not there. */
  simulated: boolean;
}

const older = (a: SessionFile, b: SessionFile): number => Date.parse(a.modifiedAt) - Date.parse(b.modifiedAt);

/** Part 5: record, list, replay, mark, download, export. */
export function createSessionsPart(live: Live): Part {
  const state = make('p', { class: 'lead', role: 'status' });
  const problem = make('p', { class: 'remedy', role: 'alert', hidden: true });
  const text = make('input', {
    type: 'text',
    id: 'mark-text',
    maxlength: 80,
    placeholder: 'What happens now',
  });
  const list = make('ul', { class: 'sessions', 'aria-label': 'Recorded sessions' });
  const empty = make('p', { class: 'lead', hidden: true }, 'Nothing is recorded yet.');
  const rows = new Map<string, SessionRow>();
  let recording = false;
  let rest: (() => void) | undefined;

  /** Does it, shows what the service says against it, and reads the list again. */
  const act = async (doing: Promise<unknown>): Promise<void> => {
    try {
      await doing;
      problem.hidden = true;
    } catch (error) {
      problem.hidden = false;
      setText(problem, (error as Error).message);
      // What was pressed may be far down the list.
      problem.scrollIntoView({ block: 'nearest' });
    }
    await update();
  };
  const record = button('Record', () => void act(ask('POST', recording ? '/record/stop' : '/record')), {
    class: 'main record',
  });
  const mark = button('Mark', () => {
    const note = text.value.trim() || 'mark';
    void act(ask('POST', `/record/mark?text=${encodeURIComponent(note)}`));
    text.value = '';
  });
  text.addEventListener('keydown', (event) => {
    if (event.key === 'Enter' && !event.repeat) mark.click();
  });
  const marks = make(
    'div',
    { class: 'mark', hidden: true },
    make('label', { for: 'mark-text' }, 'Note for the mark'),
    text,
    mark,
  );
  let replayed: string | undefined;
  const player = createPlayerCard(act, () => rows.get(replayed ?? '')?.focus());
  const panel = make(
    'section',
    { 'aria-labelledby': 'sessions-title' },
    make('h2', { id: 'sessions-title' }, 'Sessions'),
    make('div', { class: 'card' }, state, record, marks),
    problem,
    player.element,
    empty,
    list,
  );

  async function update(): Promise<void> {
    let answer: SessionList;
    try {
      answer = await ask<SessionList>('GET', '/sessions');
    } catch (error) {
      setText(state, (error as Error).message);
      return;
    }
    const { recording: now, replay, sessions, folder } = answer;
    recording = now?.running ?? false;
    record.disabled = folder === undefined;
    setText(record, recording ? 'Stop recording' : 'Record');
    setAttribute(record, 'data-recording', recording ? 'true' : undefined);
    marks.hidden = !recording;
    if (folder === undefined)
      setText(state, 'This service keeps no sessions; start it with --sessions FOLDER.');
    else if (now?.running) {
      const marked = now.marks === 0 ? '' : `, ${now.marks} ${now.marks === 1 ? 'mark' : 'marks'}`;
      const other = replay !== undefined || answer.simulated ? ' the glove itself, not what is shown,' : '';
      const what = now.simulated ? ' the simulated glove' : other;
      setText(state, `● Recording${what} ${clockText(now.seconds)}, ${bytesText(now.bytes)}${marked}`);
    } else {
      const whose = answer.simulated
        ? 'the simulated glove sends, and what apps ask of it,'
        : replay
          ? 'the glove itself sends, not the replay that is shown,'
          : 'the glove sends, and what apps ask of it,';
      setText(state, now?.failure ?? `Everything ${whose} goes into one file.`);
    }
    player.update(replay);
    if (replay) replayed = replay.name;
    sync(sessions, now?.running ? now.file : undefined, replay?.name);
  }

  function sync(sessions: SessionFile[], recorded: string | undefined, replayed: string | undefined): void {
    const names = new Set(sessions.map(({ name }) => name));
    for (const [name, row] of rows) {
      if (names.has(name)) continue;
      const next = row.element.nextElementSibling ?? row.element.previousElementSibling;
      const focused = row.element.contains(document.activeElement);
      row.element.remove();
      if (focused && next instanceof HTMLElement) rows.get(next.dataset.session ?? '')?.focus();
      rows.delete(name);
    }
    for (const session of [...sessions].sort(older)) {
      let row = rows.get(session.name);
      if (!row) {
        row = createSessionRow(session.name, act, player.focus);
        rows.set(session.name, row);
        // Newest first.
        list.prepend(row.element);
      }
      row.update(session, recorded?.endsWith(session.name) ?? false, replayed === session.name);
    }
    empty.hidden = sessions.length > 0;
  }

  live.changed.on(() => {
    if (rest !== undefined && live.connected) void update();
  });

  return {
    name: 'sessions',
    label: 'Sessions',
    icon: '<circle cx="12" cy="12" r="9" fill="none" stroke="currentColor" stroke-width="2"/><circle cx="12" cy="12" r="4" fill="currentColor"/>',
    panel,
    show(shown) {
      rest?.();
      rest = shown ? everyWhileSeen(PERIOD_MS, () => void update()) : undefined;
      if (shown) void update();
      player.show(shown);
    },
  };
}
