import { effect, type ReadonlySignal, signal } from '@preact/signals';
import { createRef, type RefObject, render } from 'preact';
import { buildParts } from './built-parts.js';
import { dialogShown } from './dialog.js';
import { createEventLog, type EventLog } from './event-log.js';
import { Guarded } from './guarded.js';
import { characterKeys, KeysButton, showKeys } from './keys.js';
import { LinkStatus, LostBanner } from './link-status.js';
import type { Live } from './live.js';
import type { Part } from './part.js';
import { PARTS } from './part-list.js';
import { PartTabs } from './part-tabs.js';
import { LogList } from './parts/log-list.js';
import { RecordingStrip } from './recording-strip.js';
import { createRestPace } from './rest-pace.js';
import { VIEWS } from './scene/orbit.js';
import { SkipLinks } from './skip-links.js';
import { ThemeButton } from './theme.js';
import { TokenForm } from './token-form.js';
import { VIEW_KEYS, Views } from './views.js';

/** The frame of the page: parts to choose from, the picture, the panel of the part. The disarm bar is not in it. */
export function createShell(live: Live, root: HTMLElement): void {
  const current = signal(-1);
  const view = signal(-1);
  const picture = createRef<HTMLDivElement>();
  const panels = createRef<HTMLElement>();
  const workplace = createRef<HTMLDivElement>();
  const tabs: (HTMLButtonElement | null)[] = [];
  /** The wearer chose a view: parts no longer bring their own. */
  let viewChosen = false;

  const look = (index: number) => {
    view.value = index;
    built.look(VIEWS[index]);
  };
  const chooseView = (index: number) => {
    viewChosen = true;
    look(index);
  };
  const go = (index: number, focus = false) => {
    const { name, isGlanced = false } = PARTS[index];
    for (const [i, part] of built.parts.entries()) show(part, i === index);
    document.body.dataset.part = name;
    pace.glance(isGlanced);
    if (!viewChosen) look(VIEWS.indexOf(built.parts[index].view ?? 'back'));
    current.value = index;
    history.replaceState(undefined, '', `#${name}`);
    // On a narrow screen picture and panel are scrolled as one. Whoever leads to a card in it scrolls there after this.
    for (const scrolled of [workplace.current, panels.current]) if (scrolled) scrolled.scrollTop = 0;
    if (focus) tabs[index]?.focus();
  };
  const pace = createRestPace(live);
  const frame = {
    live,
    log: createEventLog(live),
    current,
    view,
    go,
    chooseView,
    workplace,
    picture,
    panels,
    tabs,
  };
  render(<Frame {...frame} />, root);

  // In the page already: what is drawn asks for its size.
  const built = buildParts(live, picture.current ?? root, (name, focus) =>
    go(
      PARTS.findIndex((part) => part.name === name),
      focus,
    ),
  );
  for (const { panel } of built.parts) {
    panel.hidden = true;
    panels.current?.append(panel);
  }
  window.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || isTyping(event.target)) return;
    if (dialogShown() || !characterKeys()) return;
    const part = Number(event.key) - 1;
    const chosen = VIEW_KEYS.indexOf(event.key.toLowerCase() as (typeof VIEW_KEYS)[number]);
    if (event.key === '?') showKeys();
    else if (part in PARTS) go(part, true);
    else if (chosen >= 0) chooseView(chosen);
  });
  go(
    Math.max(
      0,
      PARTS.findIndex(({ name }) => name === location.hash.slice(1)),
    ),
  );
  // What is behind a dialog is out of reach.
  effect(() => {
    root.inert = dialogShown();
  });
}

/** The user went there, or left. */
function show(part: Part, shown: boolean): void {
  if (part.panel.hidden !== shown) return;
  part.panel.hidden = !shown;
  try {
    part.show?.(shown);
  } catch (error) {
    // The others are shown and left all the same.
    reportError(error);
  }
}

const isTyping = (target: EventTarget | null): boolean =>
  target instanceof HTMLInputElement
    ? !['range', 'checkbox', 'radio', 'button'].includes(target.type)
    : target instanceof HTMLTextAreaElement ||
      target instanceof HTMLSelectElement ||
      (target instanceof HTMLElement && target.isContentEditable);

interface FrameProps {
  live: Live;
  log: EventLog;
  current: ReadonlySignal<number>;
  view: ReadonlySignal<number>;
  go(index: number): void;
  chooseView(index: number): void;
  workplace: RefObject<HTMLDivElement | null>;
  picture: RefObject<HTMLDivElement | null>;
  panels: RefObject<HTMLElement | null>;
  tabs: (HTMLButtonElement | null)[];
}

const SKIPS = [
  { label: 'To the part that is shown', id: 'panels' },
  { label: 'To Disarm', id: 'disarm' },
];

function Frame(props: FrameProps) {
  const { live } = props;
  return (
    <>
      <SkipLinks to={SKIPS} />
      <header class="top">
        <h1>Tautline</h1>
        <PartTabs {...props} />
        <Guarded what="The state of the link">
          <LinkStatus live={live} />
        </Guarded>
        <KeysButton />
        <ThemeButton />
      </header>
      <Guarded what="The state of the service">
        <LostBanner live={live} />
      </Guarded>
      <Guarded what="The state of the replay">
        <RecordingStrip live={live} />
      </Guarded>
      <Workplace {...props} />
      <TokenForm live={live} />
    </>
  );
}

/** The picture, the panel of the part that is shown, and the events. */
function Workplace({ current, log, view, chooseView, workplace, picture, panels }: FrameProps) {
  return (
    <div class="bench" tabIndex={PARTS[current.value]?.isPlain ? 0 : undefined} ref={workplace}>
      <section class="stage" aria-label="Picture of the hands">
        <div class="picture" ref={picture} />
        <Views current={view} choose={chooseView} />
      </section>
      <main class="panels" id="panels" tabIndex={-1} ref={panels} />
      <Guarded what="The list of events">
        <LogList log={log} />
      </Guarded>
    </div>
  );
}
