import { useRef } from 'preact/hooks';
import { useHeard } from './heard.js';
import { type Live, type LiveHand, recordingOf } from './live.js';

const isLive = ({ info, health }: LiveHand): boolean => (health?.link.state ?? info.link.state) === 'live';
const rateOf = (hand: LiveHand): number =>
  isLive(hand) ? Math.round(hand.health?.rateHz ?? hand.info.sampleRateHz) : 0;

function isWell(hand: LiveHand): boolean {
  // A replay may stand still.
  const sends = rateOf(hand) > 0 || recordingOf(hand) !== undefined;
  return sends && hand.joints?.valid !== false;
}

function statusText(hand: LiveHand): string {
  const side = hand.info.hand;
  if (recordingOf(hand) !== undefined) return `${side}: replay`;
  return `${side}: ${isLive(hand) ? `${rateOf(hand)} Hz` : 'no glove'}`;
}

/** One line about link and rate, at the top. */
export function LinkStatus({ live }: { live: Live }) {
  const hands = () => [...live.hands.values()];
  const connected = useHeard(live, () => String(live.connected), 'health');
  const well = useHeard(live, () => String(hands().every(isWell)), 'health');
  const text = useHeard(
    live,
    () =>
      live.connected
        ? hands().map(statusText).join(' · ') || 'No glove in the profile'
        : 'Waiting for the service',
    'health',
  );
  return (
    <p class="status" data-connected={connected} data-well={well}>
      {text}
    </p>
  );
}

/** Says that the service is gone, or not yet there. */
export function LostBanner({ live }: { live: Live }) {
  const connected = useHeard(live, () => live.connected).value;
  const wasThere = useRef(false);
  wasThere.current ||= connected;
  const text = wasThere.current
    ? 'The service went away. This page tries again by itself; nothing has to be reloaded.'
    : 'Looking for the service…';
  return (
    <div class="banner" role="alert" hidden={connected}>
      {connected ? '' : text}
    </div>
  );
}
