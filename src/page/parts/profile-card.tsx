import { signal } from '@preact/signals';
import { render } from 'preact';
import type { LocatedProblem } from '../../config/load.js';
import type { ProfileAnswer, ProfileCheck, ProfileSaved } from '../../stream/profile-routes.js';
import { ask } from '../routes.js';
import { saveFile } from '../save.js';
import type { ProfileEditor } from './profile-editor.js';

const SHOWN_PROBLEMS = 8;

/** What is shown: nothing yet, the text, or what changes in it. */
type View = 'closed' | 'loading' | 'editing' | 'reviewing';

/** The profile in use: looked at, changed with its rules at hand, and saved once the changes have been seen. */
export function createProfileCard(): HTMLElement {
  const element = document.createElement('article');
  element.className = 'card profile-card';
  const view = signal<View>('closed');
  const profile = signal<ProfileAnswer | undefined>(undefined);
  const text = signal('');
  const problems = signal<readonly LocatedProblem[]>([]);
  /** The problems are of the text as it is now. */
  const checked = signal(false);
  const said = signal<string | undefined>(undefined);
  const refusal = signal<string | undefined>(undefined);
  const busy = signal(false);
  const place = document.createElement('div');
  place.className = 'profile-text';
  const changesPlace = document.createElement('div');
  changesPlace.className = 'profile-text';
  let editor: ProfileEditor | undefined;
  let hideChanges = (): void => {};

  const isDirty = () => profile.value !== undefined && text.value !== profile.value.text;
  const failed = ({ message }: Error) => {
    refusal.value = message;
  };
  const load = () => import('./profile-editor.js');

  async function problemsOf(now: string): Promise<readonly LocatedProblem[]> {
    try {
      const found = await ask<ProfileCheck>('POST', '/profile/check', { text: now });
      if (now === text.value) {
        problems.value = found.problems;
        checked.value = true;
      }
      return found.problems;
    } catch (error) {
      failed(error as Error);
      return [];
    }
  }

  async function open(): Promise<void> {
    refusal.value = said.value = undefined;
    view.value = 'loading';
    try {
      const [answer, { openEditor }] = await Promise.all([
        ask<ProfileAnswer>('GET', '/profile', undefined, true),
        load(),
      ]);
      editor?.close();
      profile.value = answer;
      text.value = answer.text;
      problems.value = [];
      checked.value = false;
      editor = openEditor({
        parent: place,
        text: answer.text,
        label: 'Text of the profile',
        changed(now) {
          text.value = now;
          checked.value = false;
          said.value = undefined;
        },
        problemsOf,
      });
      editor.check();
      view.value = 'editing';
      editor.focus();
    } catch (error) {
      failed(error as Error);
      view.value = 'closed';
    }
  }
  function close(): void {
    editor?.close();
    editor = undefined;
    profile.value = undefined;
    view.value = 'closed';
  }
  async function review(): Promise<void> {
    const before = profile.value?.text ?? '';
    const { showChanges } = await load();
    hideChanges = showChanges(changesPlace, before, text.value);
    view.value = 'reviewing';
  }
  function goOn(): void {
    hideChanges();
    view.value = 'editing';
    editor?.focus();
  }
  async function save(): Promise<void> {
    busy.value = true;
    refusal.value = undefined;
    const now = text.value;
    try {
      const { backup, digest } = await ask<ProfileSaved>('POST', '/profile', {
        text: now,
        digest: profile.value?.digest,
      });
      if (profile.value) profile.value = { ...profile.value, text: now, digest, changed: true };
      said.value = `Saved. The old one is kept as ${backup}. It takes effect when the service starts again.`;
    } catch (error) {
      failed(error as Error);
    }
    busy.value = false;
    goOn();
  }

  const Problems = () => {
    const all = problems.value;
    if (!checked.value) return <p class="lead">Checking…</p>;
    if (all.length === 0) return <p class="well-line">✓ Nothing wrong with it.</p>;
    return (
      <ul class="profile-problems" aria-label="What is wrong with the profile">
        {all.slice(0, SHOWN_PROBLEMS).map(({ line, path, text: what }) => (
          <li key={`${line} ${path} ${what}`}>
            <button type="button" class="link" onClick={() => editor?.focus(line)}>
              {`⚠ Line ${line}${path === '' ? '' : `, ${path}`}: ${what}`}
            </button>
          </li>
        ))}
        {all.length > SHOWN_PROBLEMS && <li>{`and ${all.length - SHOWN_PROBLEMS} more`}</li>}
      </ul>
    );
  };
  const Editing = () => {
    const { file, changed } = profile.value ?? {};
    const ready = isDirty() && checked.value && problems.value.length === 0;
    return (
      <>
        <p class="lead">
          {file === undefined
            ? 'That of the simulated glove, which comes with the program: to look at, and to begin your own with. '
            : `${file}. `}
          {changed && 'It was changed since this service started, which goes on with the old one. '}
          Tokens are hidden; they stay as they are.
        </p>
        <Mounted child={place} />
        <Problems />
        <div class="actions">
          {file !== undefined && (
            <button type="button" class="main" disabled={!ready} onClick={() => void review().catch(failed)}>
              See what changes
            </button>
          )}
          <button
            type="button"
            onClick={() => saveFile('glove.yaml', new Blob([text.value], { type: 'application/yaml' }))}
          >
            Download
          </button>
          <button type="button" onClick={() => (isDirty() ? void open() : close())}>
            {isDirty() ? 'Drop my changes' : 'Close'}
          </button>
        </div>
      </>
    );
  };
  const Reviewing = () => (
    <>
      <p class="lead">What changes. The old profile is kept beside it; no glove is touched by saving.</p>
      <Mounted child={changesPlace} />
      <div class="actions">
        <button type="button" class="main" disabled={busy.value} onClick={() => void save()}>
          Save
        </button>
        <button type="button" onClick={goOn}>
          Back to the text
        </button>
      </div>
    </>
  );
  const Card = () => (
    <>
      <h3>Profile</h3>
      {refusal.value && (
        <p class="remedy" role="alert">
          {refusal.value}
        </p>
      )}
      <p class="well-line" role="status">
        {said.value}
      </p>
      {view.value === 'editing' && <Editing />}
      {view.value === 'reviewing' && <Reviewing />}
      {(view.value === 'closed' || view.value === 'loading') && (
        <>
          <p class="lead">
            What the service knows of your gloves: channels, servos, limits, who may do what.
          </p>
          <div class="actions">
            <button type="button" disabled={view.value === 'loading'} onClick={() => void open()}>
              {view.value === 'loading' ? 'Opening…' : 'Open the profile'}
            </button>
          </div>
        </>
      )}
    </>
  );
  render(<Card />, element);
  window.addEventListener('beforeunload', (event) => {
    if (isDirty()) event.preventDefault();
  });
  return element;
}

/** An element that was made elsewhere. */
const Mounted = ({ child }: { child: HTMLElement }) => (
  <div
    ref={(box) => {
      if (box && child.parentNode !== box) box.append(child);
    }}
  />
);
