import type { HandSide } from '../hand/joints.js';
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

export const handsText = (hands: readonly HandSide[]): string =>
  hands.length > 1 ? 'left and right hand' : `${hands[0] ?? ''} hand`;
