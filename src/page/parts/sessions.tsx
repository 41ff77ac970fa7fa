import { type ReadonlySignal, signal, useSignal } from '@preact/signals';
import { createRef } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';
import type { Live } from '../live.js';
import type { Part } from '../part.js';
import { createPanel } from '../part-panel.js';
import { ask } from '../routes.js';
import { everyWhileSeen } from '../seen.js';
import { createPlayer, PlayerCard, type PlayerState } from './player-card.js';
import { type Act, type SessionFile, SessionRow } from './session-row.js';
import { bytesText, clockText } from './words.js';

const PERIOD_MS = 1000;

/** What GET /sessions answers, as far as it is shown. */
interface SessionsAnswer {
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

/** Part 5: record, list, replay, mark, download, export. */
export function createSessionsPart(live: Live): Part {
  const answer = signal<SessionsAnswer | undefined>(undefined);
  /** Why there is no answer. */
  const silence = signal<string | undefined>(undefined);
  /** What the service had against the last thing that was asked of it; another object each time. */
  const problem = signal<{ text: string } | undefined>(undefined);
  /** The buttons that replay, by session: they have the focus when the replay is over. */
  const buttons = new Map<string, HTMLButtonElement>();
  const pause = createRef<HTMLButtonElement>();
  let replayed: string | undefined;
  let rest: (() => void) | undefined;

  const act: Act = async (doing) => {
    try {
      await doing;
      problem.value = undefined;
    } catch (error) {
      problem.value = { text: (error as Error).message };
    }
    await update();
  };
  const player = createPlayer(act, () => buttons.get(replayed ?? '')?.focus());

  async function update(): Promise<void> {
    try {
      const now = await ask<SessionsAnswer>('GET', '/sessions');
      silence.value = undefined;
      answer.value = now;
      if (now.replay) replayed = now.replay.name;
      player.update(now.replay);
    } catch (error) {
      silence.value = (error as Error).message;
    }
  }
  live.changed.on(() => {
    if (rest !== undefined && live.connected) void update();
  });

  const Sessions = () => (
    <>
      <Recorder answer={answer} silence={silence} act={act} />
      <Problem problem={problem} />
      <PlayerCard player={player} toggle={pause} />
      <SessionList answer={answer} act={act} replayed={() => pause.current?.focus()} buttons={buttons} />
    </>
  );
  return {
    panel: createPanel('sessions', 'Sessions', <Sessions />),
    show(shown) {
      rest?.();
      rest = shown ? everyWhileSeen(PERIOD_MS, () => void update()) : undefined;
      if (shown) void update();
      player.show(shown);
    },
  };
}

function Problem({ problem }: { problem: ReadonlySignal<{ text: string } | undefined> }) {
  const line = useRef<HTMLParagraphElement>(null);
  const said = problem.value;
  useLayoutEffect(() => {
    // What was pressed may be far down the list.
    if (said) line.current?.scrollIntoView({ block: 'nearest' });
  }, [said]);
  return (
    <p class="remedy" role="alert" hidden={said === undefined} ref={line}>
      {said?.text}
    </p>
  );
}

interface RecorderProps {
  answer: ReadonlySignal<SessionsAnswer | undefined>;
  silence: ReadonlySignal<string | undefined>;
  act: Act;
}

function Recorder({ answer, silence, act }: RecorderProps) {
  const recording = answer.value?.recording?.running ?? false;
  return (
    <div class="card">
      <p class="lead" role="status">
        {silence.value ?? (answer.value && stateText(answer.value))}
      </p>
      <button
        type="button"
        class="main record"
        disabled={answer.value !== undefined && answer.value.folder === undefined}
        data-recording={recording ? 'true' : undefined}
        onClick={() => void act(ask('POST', recording ? '/record/stop' : '/record'))}
      >
        {recording ? 'Stop recording' : 'Record'}
      </button>
      <Marks shown={recording} act={act} />
    </div>
  );
}

function stateText({ recording, replay, folder, simulated }: SessionsAnswer): string {
  if (folder === undefined) return 'This service keeps no sessions; start it with --sessions FOLDER.';
  if (recording?.running) {
    const marked =
      recording.marks === 0 ? '' : `, ${recording.marks} ${recording.marks === 1 ? 'mark' : 'marks'}`;
    const other = replay !== undefined || simulated ? ' the glove itself, not what is shown,' : '';
    const what = recording.simulated ? ' the simulated glove' : other;
    return `● Recording${what} ${clockText(recording.seconds)}, ${bytesText(recording.bytes)}${marked}`;
  }
  const whose = simulated
    ? 'the simulated glove sends, and what apps ask of it,'
    : replay
      ? 'the glove itself sends, not the replay that is shown,'
      : 'the glove sends, and what apps ask of it,';
  return recording?.failure ?? `Everything ${whose} goes into one file.`;
}

function Marks({ shown, act }: { shown: boolean; act: Act }) {
  const note = useSignal('');
  const mark = () => {
    void act(ask('POST', `/record/mark?text=${encodeURIComponent(note.peek().trim() || 'mark')}`));
    note.value = '';
  };
  return (
    <div class="mark" hidden={!shown}>
      <label for="mark-text">Note for the mark</label>
      <input
        type="text"
        id="mark-text"
        maxlength={80}
        placeholder="What happens now"
        value={note}
        onInput={({ currentTarget }) => {
          note.value = currentTarget.value;
        }}
        onKeyDown={({ key, repeat }) => key === 'Enter' && !repeat && mark()}
      />
      <button type="button" onClick={mark}>
        Mark
      </button>
    </div>
  );
}

interface SessionListProps {
  answer: ReadonlySignal<SessionsAnswer | undefined>;
  act: Act;
  /** One is shown in place of the glove now. */
  replayed(): void;
  buttons: Map<string, HTMLButtonElement>;
}

const older = (a: SessionFile, b: SessionFile): number => Date.parse(a.modifiedAt) - Date.parse(b.modifiedAt);

function SessionList({ answer, act, replayed, buttons }: SessionListProps) {
  const files = [...(answer.value?.sessions ?? [])].sort(older).reverse();
  const { recording, replay } = answer.value ?? {};
  const names = files.map(({ name }) => name);
  const before = useRef<readonly string[]>([]);
  const list = useRef<HTMLUListElement>(null);
  // One that goes leaves the focus to its neighbour.
  const focused = document.activeElement?.closest<HTMLElement>('[data-session]');
  const left = focused && list.current?.contains(focused) ? focused.dataset.session : undefined;
  const heir =
    left !== undefined && !names.includes(left) ? neighbourOf(left, before.current, names) : undefined;
  useLayoutEffect(() => {
    before.current = names;
    if (heir !== undefined) buttons.get(heir)?.focus();
  });
  const stateOf = (name: string) => {
    if (recording?.running && recording.file.endsWith(name)) return 'recorded';
    return replay?.name === name ? 'shown' : undefined;
  };
  return (
    <>
      <p class="lead" hidden={answer.value === undefined || files.length > 0}>
        Nothing is recorded yet.
      </p>
      <ul class="sessions" aria-label="Recorded sessions" ref={list}>
        {files.map((file) => (
          <SessionRow
            key={file.name}
            file={file}
            now={stateOf(file.name)}
            act={act}
            replayed={replayed}
            replay={(button) => {
              if (button) buttons.set(file.name, button);
              else buttons.delete(file.name);
            }}
          />
        ))}
      </ul>
    </>
  );
}

/** Who stands next to one that went, of those that are there now. */
function neighbourOf(name: string, before: readonly string[], now: readonly string[]): string | undefined {
  const at = before.indexOf(name);
  const nearest = [...before.slice(at + 1), ...before.slice(0, at).reverse()];
  return nearest.find((one) => now.includes(one));
}
