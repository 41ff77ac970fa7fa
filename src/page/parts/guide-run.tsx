import { useComputed } from '@preact/signals';
import type { RefObject } from 'preact';
import type { GuideTask } from '../../guide/report.js';
import type { GuideSession } from '../guide-session.js';
import { MovePicture } from './move-picture.js';

const TASK_TEXT: Record<GuideTask, string> = {
  check: 'Check',
  fit: 'Fit',
  actuators: 'String stops',
  mount: 'Tracker',
};

interface GuideRunProps {
  session: GuideSession;
  element: RefObject<HTMLDivElement | null>;
  /** The button that has the focus once a run has begun. */
  next: RefObject<HTMLButtonElement | null>;
}

/** The move that the wearer is asked for now. */
export function GuideRun({ session, element, next }: GuideRunProps) {
  const { isRunning, move } = session;
  const isIdle = useComputed(() => !isRunning.value);
  const count = useComputed(() =>
    move.value ? `${TASK_TEXT[move.value.task]}: move ${move.value.number} of ${move.value.count}` : '',
  );
  const prompt = useComputed(() => move.value?.prompt ?? '');
  const part = useComputed(() => move.value?.part ?? 0);
  return (
    <div class="card guide-run" hidden={isIdle} ref={element}>
      <Picture move={move} />
      <p class="lead">{count}</p>
      <p class="prompt" aria-live="assertive">
        {prompt}
      </p>
      <Follow move={move} />
      <progress max={1} value={part} aria-label="Progress of this move" />
      <div class="actions">
        <button type="button" class="main big" onClick={session.next} ref={next}>
          Done, go on
        </button>
        <button type="button" onClick={session.giveUp}>
          Give up
        </button>
      </div>
    </div>
  );
}

function Picture({ move }: Pick<GuideSession, 'move'>) {
  // As far as it is seen: a bar that moved by less draws nothing.
  const drawn = useComputed(() => {
    const { name, hand, bar } = move.value ?? {};
    return `${name} ${hand} ${bar?.toFixed(2)}`;
  });
  drawn.value;
  const { name, hand, bar, task } = move.peek() ?? {};
  return (
    // Its pictures are of a hand that closes.
    <div class="move-picture" hidden={task === 'mount'}>
      {name !== undefined && hand !== undefined && <MovePicture name={name} hand={hand} bar={bar} />}
    </div>
  );
}

/** How far to be closed now, for a move that follows a bar. */
function Follow({ move }: Pick<GuideSession, 'move'>) {
  const isHidden = useComputed(() => move.value?.bar === undefined);
  const width = useComputed(() => `transform: scaleX(${move.value?.bar ?? 0})`);
  return (
    <div class="follow" hidden={isHidden}>
      <i style={width} />
    </div>
  );
}
