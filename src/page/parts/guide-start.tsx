import type { ReadonlySignal } from '@preact/signals';
import type { ComponentChildren, RefObject } from 'preact';
import { useRef } from 'preact/hooks';
import type { GuideTask } from '../../guide/report.js';

interface GuideStartProps {
  hidden: ReadonlySignal<boolean>;
  /** What one has to know of the hand first. */
  why: ReadonlySignal<string | undefined>;
  /** Nothing can be begun. */
  disabled: ReadonlySignal<boolean>;
  begin(task: GuideTask, person: string): void;
  check: RefObject<HTMLButtonElement | null>;
}

/** What can be begun, and for whom. */
export function GuideStart({ hidden, why, disabled, begin, check }: GuideStartProps) {
  const person = useRef<HTMLInputElement>(null);
  const start = (task: GuideTask) => begin(task, person.current?.value.trim() ?? '');
  return (
    <div class="guide-start" hidden={hidden}>
      <p class="played" role="status" hidden={why.value === undefined}>
        {why.value}
      </p>
      <StartCard
        title="Check the glove"
        says="A few moves show whether every sensor is wired, the right way round and quiet."
        button="Start the check"
        disabled={disabled}
        press={() => start('check')}
        element={check}
      />
      <StartCard
        title="Fit it to the hand"
        says="About a minute of moves teaches the service this hand on this glove."
        button="Start the fit"
        disabled={disabled}
        press={() => start('fit')}
      >
        <label for="person">Who wears it (may be left out)</label>
        <input
          type="text"
          id="person"
          maxLength={40}
          autocomplete="off"
          ref={person}
          onKeyDown={({ key, repeat }) => {
            if (key === 'Enter' && !repeat && !disabled.value) start('fit');
          }}
        />
      </StartCard>
      <StartCard
        title="Fit the tracker on it"
        says="Fingertips on one spot show how a controller or tracker sits on the hand, which is then in the world. Start the application that knows the tracker first."
        button="Fit the tracker"
        disabled={disabled}
        press={() => start('mount')}
      />
    </div>
  );
}

interface StartCardProps {
  title: string;
  says: string;
  button: string;
  disabled: ReadonlySignal<boolean>;
  press(): void;
  element?: RefObject<HTMLButtonElement | null>;
  /** Between what it says and its button. */
  children?: ComponentChildren;
}

const StartCard = ({ title, says, button, disabled, press, element, children }: StartCardProps) => (
  <div class="card">
    <h3>{title}</h3>
    <p class="lead">{says}</p>
    {children}
    <button type="button" class="main big" disabled={disabled} onClick={press} ref={element}>
      {button}
    </button>
  </div>
);
