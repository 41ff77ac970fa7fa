import { defaultKeymap, history, historyKeymap } from '@codemirror/commands';
import { yaml } from '@codemirror/lang-yaml';
import { bracketMatching, HighlightStyle, indentOnInput, syntaxHighlighting } from '@codemirror/language';
import { forceLinting, linter, lintGutter, lintKeymap } from '@codemirror/lint';
import { unifiedMergeView } from '@codemirror/merge';
import { EditorState, type Extension } from '@codemirror/state';
import {
  drawSelection,
  EditorView,
  highlightActiveLine,
  highlightActiveLineGutter,
  keymap,
  lineNumbers,
} from '@codemirror/view';
import { tags } from '@lezer/highlight';
import type { LocatedProblem } from '../../config/load.js';

/** A text editor for a profile: a file of its own, loaded when it is opened. */
export interface ProfileEditor {
  text(): string;
  /** Looks for problems now. */
  check(): void;
  focus(line?: number): void;
  close(): void;
}

/** After the last key, ms. */
const CHECK_AFTER_MS = 350;

const colours = HighlightStyle.define([
  { tag: [tags.propertyName, tags.definition(tags.propertyName)], color: 'var(--accent)' },
  { tag: tags.comment, color: 'var(--soft)', fontStyle: 'italic' },
  { tag: [tags.string, tags.content], color: 'var(--ink)' },
  { tag: [tags.number, tags.bool, tags.null], color: 'var(--inferred-ink)' },
]);

const look = EditorView.theme({
  '&': { background: 'var(--ground)', color: 'var(--ink)', fontSize: '0.9rem', maxHeight: '60vh' },
  '.cm-scroller': { fontFamily: 'ui-monospace, monospace', overflow: 'auto' },
  '.cm-gutters': { background: 'var(--card)', color: 'var(--soft)', border: 'none' },
  '.cm-activeLine, .cm-activeLineGutter': { background: 'color-mix(in srgb, var(--accent) 9%, transparent)' },
  '&.cm-focused': { outline: '3px solid var(--accent)' },
  '.cm-cursor': { borderLeftColor: 'var(--ink)' },
  '.cm-selectionBackground, &.cm-focused > .cm-scroller > .cm-selectionLayer .cm-selectionBackground': {
    background: 'color-mix(in srgb, var(--accent) 28%, transparent)',
  },
  '.cm-tooltip': { background: 'var(--card)', color: 'var(--ink)', border: '1px solid var(--edge)' },
  '.cm-deletedChunk': { background: 'color-mix(in srgb, var(--bad) 18%, transparent)' },
  '.cm-changedLine': { background: 'color-mix(in srgb, var(--well) 18%, transparent)' },
});

interface EditorOptions {
  parent: HTMLElement;
  text: string;
  label: string;
  /** Another text. */
  changed(text: string): void;
  problemsOf(text: string): Promise<readonly LocatedProblem[]>;
}

export function openEditor({ parent, text, label, changed, problemsOf }: EditorOptions): ProfileEditor {
  const check = linter(
    async ({ state }) => {
      const { doc } = state;
      const problems = await problemsOf(doc.toString());
      return problems.map(({ line, column, text: message }) => {
        const row = doc.line(Math.min(line, doc.lines));
        const from = Math.min(row.from + column - 1, row.to);
        // To the end of the word, or of the line.
        const word = /^[^\s,}\]]+/.exec(row.text.slice(from - row.from))?.[0].length ?? 0;
        return { from, to: Math.max(from, from + word), severity: 'error' as const, message };
      });
    },
    { delay: CHECK_AFTER_MS },
  );
  const view = new EditorView({
    parent,
    state: EditorState.create({
      doc: text,
      extensions: [
        ...plain(label),
        history(),
        drawSelection(),
        highlightActiveLine(),
        highlightActiveLineGutter(),
        indentOnInput(),
        bracketMatching(),
        check,
        lintGutter(),
        // Tab leaves the editor, as everywhere on the page.
        keymap.of([...defaultKeymap, ...historyKeymap, ...lintKeymap]),
        EditorView.updateListener.of((update) => {
          if (update.docChanged) changed(update.state.doc.toString());
        }),
      ],
    }),
  });
  return {
    text: () => view.state.doc.toString(),
    check: () => forceLinting(view),
    focus(line) {
      if (line !== undefined) {
        const { from } = view.state.doc.line(Math.max(1, Math.min(line, view.state.doc.lines)));
        view.dispatch({
          selection: { anchor: from },
          effects: EditorView.scrollIntoView(from, { y: 'center' }),
        });
      }
      view.focus();
    },
    close: () => view.destroy(),
  };
}

/** What changes, line by line, to be looked at before it is saved. @returns takes it away */
export function showChanges(parent: HTMLElement, before: string, after: string): () => void {
  const view = new EditorView({
    parent,
    state: EditorState.create({
      doc: after,
      extensions: [
        ...plain('What changes: lines that go, and lines that come'),
        EditorView.editable.of(false),
        EditorState.readOnly.of(true),
        unifiedMergeView({
          original: before,
          mergeControls: false,
          gutter: true,
          collapseUnchanged: { margin: 2, minSize: 5 },
        }),
      ],
    }),
  });
  return () => view.destroy();
}

const plain = (label: string): Extension[] => [
  lineNumbers(),
  yaml(),
  syntaxHighlighting(colours),
  look,
  EditorView.lineWrapping,
  EditorView.contentAttributes.of({ 'aria-label': label, spellcheck: 'false', tabindex: '0' }),
];
