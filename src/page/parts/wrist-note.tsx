import { type ReadonlySignal, signal, useComputed } from '@preact/signals';
import { render } from 'preact';
import { wristLine, wristNotes } from '../../protocol/wrist-report.js';
import type { LiveHand } from '../live.js';

/** Who says where the hand is, how old and how noisy that is, and what is amiss; undefined where there is no hand to place. */
export function wristText({
  health,
  info,
  joints,
}: Pick<LiveHand, 'health' | 'info' | 'joints'>): string | undefined {
  const wrist = health?.wrist ?? info.wrist;
  if (!wrist || joints?.valid !== true) return undefined;
  return [wristLine(wrist), ...wristNotes(wrist)].join(' ⚠ ');
}

export function WristNote({ text }: { text: ReadonlySignal<string | undefined> }) {
  const isUnknown = useComputed(() => text.value === undefined);
  return (
    <p class="wrist" hidden={isUnknown}>
      {text}
    </p>
  );
}

/** The same for a part that is not made of components. */
export function createWristNote(): { element: HTMLElement; update(hand: LiveHand): void } {
  const text = signal<string | undefined>(undefined);
  const place = document.createElement('div');
  render(<WristNote text={text} />, place);
  return {
    element: place.firstElementChild as HTMLElement,
    update(hand) {
      text.value = wristText(hand);
    },
  };
}
