import type { HandSide } from '../hand/joints.js';
import { button, make, setAttribute, setText } from './dom.js';
import type { Live } from './live.js';
import { ask } from './routes.js';

/** If the stream has not confirmed a disarm by then, it is sent over HTTP too. */
const CONFIRM_MS = 250;

/** Permits forces, as the wearer's own act: only this page and the command line can prove to be that. */
export const arm = (hand: HandSide | undefined): Promise<unknown> =>
  ask('POST', hand === undefined ? '/arm' : `/arm?hand=${hand}`);

/** Frees every finger of every hand, by every way there is. */
export function disarm({ client }: Live): void {
  let confirmed = false;
  const byRoute = () => {
    if (!confirmed) ask('POST', '/disarm').catch(() => {});
  };
  const late = setTimeout(byRoute, CONFIRM_MS);
  client.disarm().then(
    () => {
      confirmed = true;
      clearTimeout(late);
    },
    () => {
      clearTimeout(late);
      byRoute();
    },
  );
}

/** The bar at the foot of the page: whether forces can act, and the one control that is always there. */
export function createDisarmBar(live: Live): HTMLElement {
  const title = make('strong');
  const detail = make('span');
  const bar = make(
    'footer',
    { class: 'armbar', 'data-state': 'unknown' },
    make('div', { class: 'armbar-text', role: 'status' }, title, detail),
    button('Disarm', () => disarm(live), { class: 'disarm', 'aria-keyshortcuts': 'Escape' }),
  );
  bar.querySelector('.disarm')?.append(make('kbd', {}, 'Esc'));

  const update = () => {
    const armed = [...live.hands.values()].filter((hand) => hand.armed).map(({ info }) => info.hand);
    if (!live.connected) {
      setAttribute(bar, 'data-state', 'unknown');
      setText(title, 'Not connected');
      setText(detail, 'Forces end by themselves when the service is gone.');
    } else if (armed.length > 0) {
      setAttribute(bar, 'data-state', 'armed');
      setText(title, 'Armed');
      setText(detail, `Apps can hold the fingers of the ${handsText(armed)}.`);
    } else {
      setAttribute(bar, 'data-state', 'free');
      setText(title, 'Disarmed');
      setText(detail, 'Fingers are free. No app can hold them.');
    }
  };
  live.changed.on(update);
  update();

  // Before anything else on the page hears of it, a dialog included.
  window.addEventListener(
    'keydown',
    (event) => {
      if (event.key === 'Escape' && !event.repeat) disarm(live);
    },
    { capture: true },
  );
  return bar;
}

export const handsText = (hands: readonly HandSide[]): string =>
  hands.length > 1 ? 'left and right hand' : `${hands[0] ?? ''} hand`;
