import type { ReadonlySignal } from '@preact/signals';
import { countOf } from './faults.js';
import { Guarded } from './guarded.js';
import { useHeard } from './heard.js';
import type { Live } from './live.js';
import { PARTS } from './part-list.js';

interface PartTabsProps {
  live: Live;
  /** The number of the part that is shown. */
  current: ReadonlySignal<number>;
  go(index: number): void;
  /** Where the tabs are to be known from outside. */
  tabs: (HTMLButtonElement | null)[];
}

/** The way from part to part. */
export const PartTabs = ({ live, current, go, tabs }: PartTabsProps) => (
  <nav class="parts" aria-label="Parts of the page">
    {PARTS.map(({ name, label, icon }, i) => (
      <button
        key={name}
        type="button"
        data-part={name}
        aria-keyshortcuts={String(i + 1)}
        aria-current={i === current.value ? 'page' : undefined}
        ref={(tab) => {
          tabs[i] = tab;
        }}
        onClick={() => go(i)}
      >
        <svg viewBox="0 0 24 24" aria-hidden="true">
          {icon}
        </svg>
        {label}
        <kbd>{i + 1}</kbd>
        {name === 'bench' && (
          <Guarded what="The count of faults">
            <Badge live={live} />
          </Guarded>
        )}
      </button>
    ))}
  </nav>
);

/** How many things are not well, on the way to where they are named. */
function Badge({ live }: { live: Live }) {
  const count = useHeard(
    live,
    () => (live.connected ? [...live.hands.values()].reduce((sum, hand) => sum + countOf(hand), 0) : 0),
    'health',
  );
  return (
    // Its place is kept while there is nothing to count: tabs must not move under a pointer.
    <span class="badge" data-none={count.value === 0 ? 'true' : undefined}>
      {'⚠ '}
      <span>{count}</span>
      <span class="unseen"> not well</span>
    </span>
  );
}
