import type { ReadonlySignal } from '@preact/signals';
import { useLayoutEffect, useRef } from 'preact/hooks';
import type { ProfileState } from '../profile-state.js';

const SHOWN_PROBLEMS = 8;

interface ProfileProps {
  state: ProfileState;
}

/** The profile in use: looked at, changed with its rules at hand, and saved once the changes have been seen. */
export function ProfileCard({ state, hidden }: ProfileProps & { hidden: ReadonlySignal<boolean> }) {
  const { view, profile, refusal, said } = state;
  const isEditing = view.value === 'editing';
  return (
    <article class="card profile-card" hidden={hidden} ref={state.element}>
      <h3>Profile</h3>
      {refusal.value && (
        <p class="remedy" role="alert">
          {refusal.value}
        </p>
      )}
      <p class="well-line" role="status">
        {said.value}
      </p>
      {isEditing && <WhichProfile state={state} />}
      {/* It keeps its place and its history while the changes are looked at. */}
      {profile.value && <EditorBox key={state.readings.value} state={state} shown={isEditing} />}
      {isEditing && <Problems state={state} />}
      {isEditing && <EditorActions state={state} />}
      {view.value === 'reviewing' && <Review state={state} />}
      {(view.value === 'closed' || view.value === 'loading') && (
        <>
          <p class="lead">
            What the service knows of your gloves: channels, servos, limits, who may do what.
          </p>
          <div class="actions">
            <button type="button" disabled={view.value === 'loading'} onClick={() => void state.open()}>
              {view.value === 'loading'
                ? 'Opening…'
                : state.isUnloaded.value
                  ? 'Try again'
                  : 'Open the profile'}
            </button>
          </div>
        </>
      )}
    </article>
  );
}

function WhichProfile({ state: { profile } }: ProfileProps) {
  const { file, changed } = profile.value ?? {};
  return (
    <p class="lead">
      {file === undefined
        ? 'That of the simulated glove, which comes with the program: to look at, and to begin your own with. '
        : `${file}. `}
      {changed && 'It was changed since this service started, which goes on with the old one. '}
      Tokens are hidden; they stay as they are.
    </p>
  );
}

function EditorBox({ state, shown }: ProfileProps & { shown: boolean }) {
  const box = useRef<HTMLDivElement>(null);
  useLayoutEffect(() => (box.current ? state.edit(box.current) : undefined), []);
  useLayoutEffect(() => {
    if (shown) state.focus();
  }, [shown]);
  return <div class="profile-text" hidden={!shown} ref={box} />;
}

function Problems({ state }: ProfileProps) {
  const all = state.problems.value;
  if (all === undefined) return <p class="lead">Checking…</p>;
  if (all.length === 0) return <p class="well-line">✓ Nothing wrong with it.</p>;
  return (
    <ul class="profile-problems" aria-label="What is wrong with the profile">
      {all.slice(0, SHOWN_PROBLEMS).map(({ line, path, text }) => (
        <li key={`${line} ${path} ${text}`}>
          <button type="button" class="link" onClick={() => state.focus(line)}>
            {`⚠ Line ${line}${path === '' ? '' : `, ${path}`}: ${text}`}
          </button>
        </li>
      ))}
      {all.length > SHOWN_PROBLEMS && <li>{`and ${all.length - SHOWN_PROBLEMS} more`}</li>}
    </ul>
  );
}

function EditorActions({ state }: ProfileProps) {
  const isChanged = state.isChanged.value;
  return (
    <div class="actions">
      {state.profile.value?.file !== undefined && (
        <button
          type="button"
          class="main"
          disabled={!isChanged || state.problems.value?.length !== 0}
          onClick={state.review}
        >
          See what changes
        </button>
      )}
      <button type="button" onClick={state.download}>
        Download
      </button>
      <button type="button" onClick={() => (isChanged ? void state.open() : state.close())}>
        {isChanged ? 'Drop my changes' : 'Close'}
      </button>
    </div>
  );
}

function Review({ state }: ProfileProps) {
  const box = useRef<HTMLDivElement>(null);
  useLayoutEffect(() => (box.current ? state.compare(box.current) : undefined), []);
  return (
    <>
      <p class="lead">What changes. The old profile is kept beside it; no glove is touched by saving.</p>
      <div class="profile-text" ref={box} />
      <div class="actions">
        <button type="button" class="main" disabled={state.isSaving.value} onClick={() => void state.save()}>
          Save
        </button>
        <button type="button" onClick={state.goOn}>
          Back to the text
        </button>
      </div>
    </>
  );
}
