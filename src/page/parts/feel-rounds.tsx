import type { ComponentChildren } from 'preact';
import type { GloveAnswer } from '../../glove/feel-report.js';
import type { Place } from '../../guide/feel-trial.js';
import { howToFeel } from '../../resistance/wearer-feel.js';
import { conclusionOf, valueText } from '../feel-words.js';
import { Heads } from './heads.js';

const PLACES = ['first', 'second'] as const;

/** A comparison under way; it says nothing of which is which. */
export function Rounds({
  trial: { what, finger, round, rounds, showing, felt },
  armed,
  arm,
  show,
  choose,
  stop,
}: {
  trial: NonNullable<GloveAnswer['trial']>;
  armed: boolean;
  /** How it is armed. */
  arm: ComponentChildren;
  show(which: Place): void;
  choose(which: Place | 'same'): void;
  stop(): void;
}) {
  const missing = PLACES.filter((place) => !felt[place]);
  return (
    <div class="feel-run">
      <p class="lead" aria-live="polite">
        {`Round ${round} of ${rounds}: you feel the ${showing}.`}
      </p>
      <p class="prompt">{howToFeel(what, finger)}</p>
      {armed ? null : (
        <>
          <p class="lead">
            Nothing is felt until you arm. Keep a way to get the hand out; Escape frees it at once.
          </p>
          {arm}
        </>
      )}
      <fieldset class="feel-places">
        <legend>What to feel</legend>
        {PLACES.map((place, i) => (
          <button
            key={place}
            type="button"
            class={`big ${place}`}
            aria-pressed={showing === place}
            aria-keyshortcuts={String(i + 1)}
            onClick={() => show(place)}
          >
            {`Feel the ${place}`}
            {felt[place] ? ' ✓' : ''}
            <span class="unseen">{felt[place] ? 'felt' : 'not yet felt'}</span>
            <kbd>{i + 1}</kbd>
          </button>
        ))}
      </fieldset>
      <p class="lead" aria-live="polite">
        {missing.length === 0
          ? 'Both were felt. Go back and forth as often as you like, then choose.'
          : `Still to feel before you choose: the ${missing.join(' and the ')}.`}
      </p>
      <fieldset class="feel-places">
        <legend>Which is better</legend>
        {PLACES.map((place) => (
          <button key={place} type="button" disabled={missing.length > 0} onClick={() => choose(place)}>
            {`The ${place} is better`}
          </button>
        ))}
        <button
          type="button"
          disabled={missing.length > 0}
          aria-keyshortcuts="="
          onClick={() => choose('same')}
        >
          No difference
          <kbd>=</kbd>
        </button>
      </fieldset>
      <div class="actions">
        <button type="button" onClick={stop}>
          Give up
        </button>
      </div>
    </div>
  );
}

/** What was what, and what is kept of it. */
export function Found({
  found: { what, person, revealed, accepted },
  keep,
  undo,
  close,
}: {
  found: NonNullable<GloveAnswer['found']>;
  keep(which: 'a' | 'b'): void;
  undo(): void;
  close(): void;
}) {
  const { preferred } = revealed;
  const sides = preferred === 'b' ? (['b', 'a'] as const) : (['a', 'b'] as const);
  return (
    <section class="feel-found" tabIndex={-1} aria-label="What was what">
      <table>
        <caption class="unseen">What was what, round by round</caption>
        <Heads of={['Round', 'First', 'Second', 'Better']} />
        <tbody>
          {revealed.rounds.map(({ first, chosen }, i) => (
            <tr key={i}>
              <th scope="row">{i + 1}</th>
              <td>{valueText(what, revealed[first])}</td>
              <td>{valueText(what, revealed[first === 'a' ? 'b' : 'a'])}</td>
              <td>{chosen === 'same' ? 'no difference' : valueText(what, revealed[chosen])}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {conclusionOf(what, revealed).map((line) => (
        <p key={line}>{line}</p>
      ))}
      {accepted && <p class="well-line">{`✓ Kept for ${person}, and in use.`}</p>}
      <div class="actions">
        {accepted ? (
          <button type="button" onClick={undo}>
            Undo
          </button>
        ) : (
          sides.map((side, i) => (
            <button
              key={side}
              type="button"
              class={i === 0 && preferred ? 'main' : ''}
              onClick={() => keep(side)}
            >
              {`Keep ${what} ${valueText(what, revealed[side])}`}
            </button>
          ))
        )}
        <button type="button" onClick={close}>
          {accepted ? 'Compare again' : 'Keep neither'}
        </button>
      </div>
    </section>
  );
}
