import { type ReadonlySignal, useSignal, useSignalEffect } from '@preact/signals';
import { useHeard } from './heard.js';
import { isSimulated, type Live, recordingOf } from './live.js';
import { ask } from './routes.js';

/** What is shown in place of the gloves: names of recordings, and of the hands that they show; empty: nothing. */
function replayText({ connected, hands }: Live): string {
  const replayed = [...hands.values()].filter((hand) => recordingOf(hand) !== undefined);
  if (!connected || replayed.length === 0) return '';
  const names = [...new Set(replayed.map(recordingOf))].join(', ');
  const which = replayed.length < hands.size ? ` (${replayed.map(({ info }) => info.hand).join()} hand)` : '';
  return `Replay of ${names}${which}, not the glove: no force is possible.`;
}

/** Answers of the service on something that it is asked for as soon as `when` holds; undefined meanwhile. */
function useAnswer<T>(when: ReadonlySignal<unknown>, path: string): ReadonlySignal<T | undefined> {
  const answer = useSignal<T | undefined>(undefined);
  useSignalEffect(() => {
    answer.value = undefined;
    if (!when.value) return;
    let current = true;
    ask<T>('GET', path).then(
      (came) => {
        if (current) answer.value = came;
      },
      () => {},
    );
    return () => {
      current = false;
    };
  });
  return answer;
}

/** Shown above every part while a recording is shown; hidden while it is the gloves themselves. */
export function RecordingStrip({ live }: { live: Live }) {
  const replay = useHeard(live, () => replayText(live));
  // Of a glove that is simulated by its own profile, nothing needs to be said here: only of one that stands in.
  const simulated = useHeard(live, () => live.connected && [...live.hands.values()].some(isSimulated));
  const sessions = useAnswer<{ simulated?: boolean }>(simulated, '/sessions');
  // A service of `tautline replay` has no glove to go back to.
  const player = useAnswer<object>(replay, '/replay');
  const refusal = useSignal<string | undefined>(undefined);
  useSignalEffect(() => {
    // What was refused was another one.
    replay.value;
    simulated.value;
    refusal.value = undefined;
  });

  const standsIn = replay.value === '' && sessions.value?.simulated === true;
  const shown = replay.value !== '' || standsIn;
  const text = standsIn
    ? 'A simulated glove, in place of yours: it moves by itself, and nobody feels anything.'
    : replay.value;
  const back = () => {
    refusal.value = undefined;
    ask('POST', '/replay/close').catch(({ message }: Error) => {
      refusal.value = message;
    });
  };
  return (
    <aside class="strip" aria-label="Replay" hidden={!shown}>
      {/* Kept while it is hidden: a status is read aloud when its text changes. */}
      <p role="status">{refusal.value ?? text}</p>
      <button type="button" hidden={!standsIn && player.value === undefined} onClick={back}>
        Back to the glove
      </button>
    </aside>
  );
}
