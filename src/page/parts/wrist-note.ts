import { wristLine, wristNotes } from '../../protocol/wrist-report.js';
import { make, setHidden, setText } from '../dom.js';
import type { LiveHand } from '../live.js';

/** Who says where the hand is, how old and how noisy that is, and what is amiss. */
export function createWristNote(): { element: HTMLElement; update(hand: LiveHand): void } {
  const element = make('p', { class: 'wrist', hidden: true });
  return {
    element,
    update({ health, info, joints }) {
      const wrist = health?.wrist ?? info.wrist;
      setHidden(element, wrist === undefined || joints?.valid !== true);
      if (wrist) setText(element, [wristLine(wrist), ...wristNotes(wrist)].join(' ⚠ '));
    },
  };
}
