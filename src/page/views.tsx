import type { ReadonlySignal } from '@preact/signals';
import { VIEW_LABEL, VIEWS } from './scene/orbit.js';

/** Keys of the views, in their order. */
export const VIEW_KEYS = ['b', 'p', 's', 't'] as const;

/** From where the picture is seen. */
export const Views = ({
  current,
  choose,
}: {
  current: ReadonlySignal<number>;
  choose(index: number): void;
}) => (
  // biome-ignore lint/a11y/useSemanticElements: a fieldset is drawn as one.
  <div class="views" role="group" aria-label="View">
    {VIEWS.map((view, i) => (
      <button
        key={view}
        type="button"
        aria-keyshortcuts={VIEW_KEYS[i].toUpperCase()}
        aria-pressed={i === current.value}
        onClick={() => choose(i)}
      >
        {VIEW_LABEL[view]}
        <kbd>{VIEW_KEYS[i].toUpperCase()}</kbd>
      </button>
    ))}
  </div>
);
