import { type ReadonlySignal, signal, useComputed } from '@preact/signals';
import { createRef, type RefObject } from 'preact';
import type { FitsAnswer } from '../../glove/kept-fits.js';
import type { GuideSession } from '../guide-session.js';

type Fit = FitsAnswer['fits'][number];

const WHAT: Record<Fit['kind'], string> = {
  sensors: 'sensors',
  actuators: 'string stops',
  bones: 'bones',
  mount: 'mount of the tracker',
  feel: 'how forces feel',
};

/** The fits that the service keeps. */
export interface FitShelf {
  readonly fits: ReadonlySignal<readonly Fit[]>;
  /** Wearers with a fit, but him who wears the glove now. */
  readonly others: ReadonlySignal<readonly string[]>;
  readonly undoButton: RefObject<HTMLButtonElement | null>;
  readonly people: RefObject<HTMLDivElement | null>;
  update(): Promise<void>;
  undo(): void;
  use(person: string): void;
}

export function createFitShelf({ post, read }: Pick<GuideSession, 'post' | 'read'>): FitShelf {
  const fits = signal<readonly Fit[]>([]);
  const others = signal<readonly string[]>([]);
  const undoButton = createRef<HTMLButtonElement>();
  const people = createRef<HTMLDivElement>();

  async function update(): Promise<void> {
    const answer = await read<FitsAnswer>('/fits').catch(() => undefined);
    const kept = (answer?.fits ?? []).filter(({ undone }) => undone !== true);
    const names = [...new Set(kept.map(({ person }) => person))].filter((name) => name !== answer?.person);
    // The button that was pressed goes.
    if (people.current?.contains(document.activeElement)) undoButton.current?.focus();
    fits.value = kept;
    others.value = names;
  }
  const then = (doing: Promise<void>) => void doing.then(update);
  return {
    fits,
    others,
    undoButton,
    people,
    update,
    undo: () => then(post('/fits/undo')),
    use: (person) => then(post(`/fits/use?person=${encodeURIComponent(person)}`)),
  };
}

interface SavedFitsProps {
  shelf: FitShelf;
  hidden: ReadonlySignal<boolean>;
  /** A recording is shown: fits are only looked at, since the glove that they belong to is hidden. */
  disabled: ReadonlySignal<boolean>;
}

/** Who was fitted, when, which is in use; undo, and another wearer. */
export function SavedFits({ shelf: { fits, others, ...shelf }, hidden, disabled }: SavedFitsProps) {
  const isEmpty = useComputed(() => fits.value.length === 0);
  return (
    <div class="card shelf" hidden={hidden}>
      <h3>Kept fits</h3>
      <p class="lead" hidden={!isEmpty.value}>
        No fit is kept yet; the ranges come from the profile.
      </p>
      <ul class="fits">
        {fits.value.map((fit) => (
          <li key={`${fit.savedAt} ${fit.kind}`}>{fitText(fit)}</li>
        ))}
      </ul>
      <div class="actions" ref={shelf.people}>
        {others.value.map((name) => (
          <button key={name} type="button" disabled={disabled} onClick={() => shelf.use(name)}>
            {`Switch to ${name}`}
          </button>
        ))}
      </div>
      <div class="actions">
        <button
          type="button"
          hidden={isEmpty.value}
          disabled={disabled}
          onClick={shelf.undo}
          ref={shelf.undoButton}
        >
          Undo the last fit
        </button>
      </div>
    </div>
  );
}

function fitText({ person, savedAt, kind, inUse }: Fit): string {
  const when = savedAt
    ? `, ${new Date(savedAt).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' })}`
    : '';
  return `${inUse ? '✓ in use: ' : ''}${person}, ${WHAT[kind]}${when}`;
}
