import { batch, computed, type ReadonlySignal, signal } from '@preact/signals';
import { createRef, type RefObject } from 'preact';
import type { LocatedProblem } from '../config/load.js';
import type { ProfileAnswer, ProfileCheck, ProfileSaved } from '../stream/profile-routes.js';
import { type EditorModule, EditorNotLoaded, loadEditor } from './load-editor.js';
import type { ProfileEditor } from './parts/profile-editor.js';
import { type ChannelAt, lineOfChannel } from './profile-line.js';
import { ask } from './routes.js';
import { saveFile } from './save.js';

/** What is shown: nothing yet, the text, or what changes in it. */
type View = 'closed' | 'loading' | 'editing' | 'reviewing';

/** The profile in use, and what is being changed in it. */
export interface ProfileState {
  readonly view: ReadonlySignal<View>;
  /** As the service has it. */
  readonly profile: ReadonlySignal<ProfileAnswer | undefined>;
  /** Counts how often it was read: another editor each time. */
  readonly readings: ReadonlySignal<number>;
  readonly isChanged: ReadonlySignal<boolean>;
  /** What is wrong with the text; undefined while that is looked up. */
  readonly problems: ReadonlySignal<readonly LocatedProblem[] | undefined>;
  readonly isSaving: ReadonlySignal<boolean>;
  /** What was done. */
  readonly said: ReadonlySignal<string | undefined>;
  /** Why something was refused. */
  readonly refusal: ReadonlySignal<string | undefined>;
  /** The editor could not be loaded: to open it is to try again. */
  readonly isUnloaded: ReadonlySignal<boolean>;
  /** The card that it is shown in. */
  readonly element: RefObject<HTMLElement | null>;
  /** @param at a channel: the cursor goes to its line */
  open(at?: ChannelAt): Promise<void>;
  close(): void;
  download(): void;
  review(): void;
  goOn(): void;
  save(): Promise<void>;
  /** The editor has the focus, at a line. */
  focus(line?: number): void;
  /** An editor of the text. @returns closes it */
  edit(parent: HTMLElement): () => void;
  /** What changes in the text. @returns takes it away */
  compare(parent: HTMLElement): () => void;
}

export function createProfileState(): ProfileState {
  const view = signal<View>('closed');
  const profile = signal<ProfileAnswer | undefined>(undefined);
  const readings = signal(0);
  const text = signal('');
  const problems = signal<readonly LocatedProblem[] | undefined>(undefined);
  const said = signal<string | undefined>(undefined);
  const refusal = signal<string | undefined>(undefined);
  const isSaving = signal(false);
  const isChanged = computed(() => profile.value !== undefined && text.value !== profile.value.text);
  const isUnloaded = signal(false);
  const element = createRef<HTMLElement>();
  /** Loaded when it is opened. */
  let editing: EditorModule | undefined;
  /** Where the cursor goes as soon as there is an editor. */
  let first: number | undefined;
  /** The channel that was asked for, until the profile is there. */
  let wanted: ChannelAt | undefined;
  let editor: ProfileEditor | undefined;

  const failed = (error: unknown) => {
    refusal.value = (error as Error).message;
  };
  async function problemsOf(now: string): Promise<readonly LocatedProblem[]> {
    try {
      const found = await ask<ProfileCheck>('POST', '/profile/check', { text: now });
      if (now === text.peek()) problems.value = found.problems;
      return found.problems;
    } catch (error) {
      failed(error);
      return [];
    }
  }
  window.addEventListener('beforeunload', (event) => {
    if (isChanged.peek()) event.preventDefault();
  });

  const state: ProfileState = {
    view,
    profile,
    readings,
    isChanged,
    problems,
    isSaving,
    said,
    refusal,
    isUnloaded,
    element,
    async open(at) {
      // What is being changed is not lost: the cursor goes there.
      if (at && profile.peek() && view.peek() !== 'loading') {
        state.goOn();
        return editor?.focus(lineOfChannel(text.peek(), at));
      }
      if (at) {
        wanted = at;
        // It is asked for from above: what comes of it is seen, a refusal too.
        element.current?.scrollIntoView({ block: 'nearest' });
      }
      refusal.value = said.value = undefined;
      view.value = 'loading';
      try {
        const answer = await ask<ProfileAnswer>('GET', '/profile', undefined, true);
        editing ??= await loadEditor();
        isUnloaded.value = false;
        first = wanted && lineOfChannel(answer.text, wanted);
        wanted = undefined;
        batch(() => {
          profile.value = answer;
          text.value = answer.text;
          problems.value = undefined;
          readings.value++;
          view.value = 'editing';
        });
      } catch (error) {
        isUnloaded.value = error instanceof EditorNotLoaded;
        failed(error);
        state.close();
      }
    },
    close() {
      profile.value = undefined;
      view.value = 'closed';
    },
    download() {
      saveFile('glove.yaml', new Blob([text.peek()], { type: 'application/yaml' }));
    },
    review() {
      view.value = 'reviewing';
    },
    goOn() {
      view.value = 'editing';
    },
    async save() {
      isSaving.value = true;
      refusal.value = undefined;
      const now = text.peek();
      try {
        const { backup, digest } = await ask<ProfileSaved>('POST', '/profile', {
          text: now,
          digest: profile.peek()?.digest,
        });
        const before = profile.peek();
        if (before) profile.value = { ...before, text: now, digest, changed: true };
        said.value = `Saved. The old one is kept as ${backup}. It takes effect when the service starts again.`;
      } catch (error) {
        failed(error);
      }
      isSaving.value = false;
      state.goOn();
    },
    focus(line = first) {
      first = undefined;
      editor?.focus(line);
    },
    edit(parent) {
      const opened = editing?.openEditor({
        parent,
        text: text.peek(),
        label: 'Text of the profile',
        changed(now) {
          text.value = now;
          problems.value = undefined;
          said.value = undefined;
        },
        problemsOf,
      });
      editor = opened;
      opened?.check();
      return () => {
        editor = undefined;
        opened?.close();
      };
    },
    compare: (parent) => editing?.showChanges(parent, profile.peek()?.text ?? '', text.peek()) ?? (() => {}),
  };
  return state;
}
