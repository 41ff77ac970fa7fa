import { disarm, handsText } from './arming.js';
import { Guarded } from './guarded.js';
import { useHeard } from './heard.js';
import { type Live, recordingOf } from './live.js';

type State = 'unknown' | 'armed' | 'free';

function stateOf({ connected, hands }: Live): State {
  if (!connected) return 'unknown';
  return [...hands.values()].some(({ armed }) => armed) ? 'armed' : 'free';
}

const TITLE: Record<State, string> = { unknown: 'Not connected', armed: 'Armed', free: 'Disarmed' };

function detailOf(live: Live): string {
  const hands = [...live.hands.values()];
  switch (stateOf(live)) {
    case 'unknown':
      return 'Forces end by themselves when the service is gone.';
    case 'armed':
      return `Apps can hold the fingers of the ${handsText(hands.filter(({ armed }) => armed).map(({ info }) => info.hand))}.`;
    case 'free':
      return hands.length > 0 && hands.every(recordingOf)
        ? 'This is a replay: fingers are free, and no force is possible.'
        : 'Fingers are free. No app can hold them.';
  }
}

function ArmState({ live }: { live: Live }) {
  const state = useHeard(live, () => stateOf(live));
  const detail = useHeard(live, () => detailOf(live));
  return (
    <>
      <strong>{TITLE[state.value]}</strong>
      <span>{detail}</span>
    </>
  );
}

/** The bar at the foot of the page: whether forces can act, and the one control that is always there. */
export function DisarmBar({ live }: { live: Live }) {
  const state = useHeard(live, () => stateOf(live));
  return (
    <footer class="armbar" data-state={state}>
      <div class="armbar-text" role="status">
        <Guarded what="The state">
          <ArmState live={live} />
        </Guarded>
      </div>
      <DisarmButton live={live} />
    </footer>
  );
}

function DisarmButton({ live }: { live: Live }) {
  return (
    <button type="button" class="disarm" id="disarm" aria-keyshortcuts="Escape" onClick={() => disarm(live)}>
      Disarm<kbd>Esc</kbd>
    </button>
  );
}

/** Escape disarms, before anything else on the page hears of it, a dialog included. */
export function disarmOnEscape(live: Live): void {
  window.addEventListener(
    'keydown',
    (event) => {
      if (event.key === 'Escape' && !event.repeat) disarm(live);
    },
    { capture: true },
  );
}
