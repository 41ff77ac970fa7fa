import { type ReadonlySignal, useComputed } from '@preact/signals';
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
