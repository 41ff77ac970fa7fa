import { createDelays } from './delays.js';
import { dialogShown } from './dialog.js';
import { button, drawing, make, setAttribute, setHidden, setText } from './dom.js';
import { createEventLog } from './event-log.js';
import { countOf } from './faults.js';
import { characterKeys, createKeysButton } from './keys.js';
import { type Live, recordingOf } from './live.js';
import type { Lead, OpenPlot, Part } from './part.js';
import { createAppsPart } from './parts/apps.js';
import { createBenchPart } from './parts/bench.js';
import { createGuidePart } from './parts/guide.js';
import { createLogList } from './parts/log-list.js';
import { createSessionsPart } from './parts/sessions.js';
import { createSignalsPart } from './parts/signals.js';
import { createTouchPart } from './parts/touch.js';
import { createRecordingStrip } from './recording-strip.js';
import { createRestPace } from './rest-pace.js';
import { createHandsOnStage } from './scene/hands.js';
import { VIEW_LABEL, VIEWS } from './scene/orbit.js';
import { createStage } from './scene/stage.js';
import { createSkipLinks } from './skip-links.js';
import { createThemeButton } from './theme.js';
import { createTokenForm } from './token-form.js';

/** Keys of the views, in their order. */
const VIEW_KEYS = ['b', 'p', 's', 't'] as const;

/** Parts that measure nothing: they do with fewer poses of a hand that rests. */
const GLANCED: ReadonlySet<string> = new Set(['bench', 'sessions', 'apps']);

/** The frame of the page: parts to choose from, the picture, the panel of the part, the disarm bar. */
export function createShell(live: Live, disarmBar: HTMLElement): void {
  const picture = make('div', { class: 'picture' });
  const stage = createStage(picture);
  const hands = createHandsOnStage(live, stage);
  const delays = createDelays(live);
  const signals = createSignalsPart(live, delays);
  const guide = createGuidePart(live);
  const openPlot: OpenPlot = (side, role) => {
    signals.plot(side, role);
    go(parts.indexOf(signals), true);
  };
  const lead: Lead = (to, side) => {
    go(parts.indexOf(guide));
    guide.lead(to, side);
  };
  const parts: Part[] = [
    createBenchPart(live, delays, openPlot, lead),
    signals,
    guide,
    createTouchPart(live, stage, hands, lead),
    createSessionsPart(live),
    createAppsPart(live),
  ];

  /** The wearer chose a view: parts no longer bring their own. */
  let viewChosen = false;
  const views = make('div', { class: 'views', role: 'group', 'aria-label': 'View' });
  const choose = (index: number) => {
    stage.view(VIEWS[index]);
    hands.arrange();
    [...views.children].forEach((child, i) => {
      setAttribute(child, 'aria-pressed', String(i === index));
    });
  };
  const chooseView = (index: number) => {
    viewChosen = true;
    choose(index);
  };
  VIEWS.forEach((view, i) => {
    const key = VIEW_KEYS[i];
    const chooser = button(VIEW_LABEL[view], () => chooseView(i), { 'aria-keyshortcuts': key.toUpperCase() });
    chooser.append(make('kbd', {}, key.toUpperCase()));
    views.append(chooser);
  });

  const pace = createRestPace(live);
  const tabs = make('nav', { class: 'parts', 'aria-label': 'Parts of the page' });
  const panels = make('main', { class: 'panels', id: 'panels', tabindex: -1 });
  const bench = make(
    'div',
    { class: 'bench' },
    make('section', { class: 'stage', 'aria-label': 'Picture of the hands' }, picture, views),
    panels,
    createLogList(createEventLog(live)),
  );
  const go = (index: number, focus = false) => {
    parts.forEach((part, i) => {
      const shown = i === index;
      if (part.panel.hidden === shown) {
        part.panel.hidden = !shown;
        part.show?.(shown);
      }
      setAttribute(tabs.children[i], 'aria-current', shown ? 'page' : undefined);
    });
    document.body.dataset.part = parts[index].name;
    pace.glance(GLANCED.has(parts[index].name));
    if (!viewChosen) choose(VIEWS.indexOf(parts[index].view ?? 'back'));
    // Nothing in these takes the focus: the whole is scrolled by keys.
    const plain = ['signals', 'apps'].includes(parts[index].name);
    setAttribute(bench, 'tabindex', plain ? '0' : undefined);
    history.replaceState(undefined, '', `#${parts[index].name}`);
    panels.scrollTop = 0;
    if (focus) (tabs.children[index] as HTMLElement).focus();
  };
  parts.forEach((part, i) => {
    part.panel.hidden = true;
    const tab = button(part.label, () => go(i), {
      'data-part': part.name,
      'aria-keyshortcuts': String(i + 1),
    });
    tab.prepend(drawing('0 0 24 24', part.icon));
    tab.append(make('kbd', {}, String(i + 1)));
    if (part.name === 'bench') tab.append(createBadge(live));
    tabs.append(tab);
    panels.append(part.panel);
  });

  const keys = createKeysButton();
  const header = make(
    'header',
    { class: 'top' },
    make('h1', {}, 'Tautline'),
    tabs,
    createStatus(live),
    keys.button,
    createThemeButton(),
  );
  document.body.append(
    createSkipLinks([
      ['To the part that is shown', panels],
      ['To Disarm', disarmBar.querySelector<HTMLElement>('.disarm') ?? disarmBar],
    ]),
    header,
    createLostBanner(live),
    createRecordingStrip(live),
    bench,
    createTokenForm(live),
    disarmBar,
  );

  window.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || isTyping(event.target)) return;
    if (dialogShown() || !characterKeys()) return;
    const part = Number(event.key) - 1;
    const view = VIEW_KEYS.indexOf(event.key.toLowerCase() as (typeof VIEW_KEYS)[number]);
    if (event.key === '?') keys.show();
    else if (Number.isInteger(part) && part >= 0 && part < parts.length) go(part, true);
    else if (view >= 0) chooseView(view);
  });
  const asked = parts.findIndex(({ name }) => name === location.hash.slice(1));
  go(Math.max(0, asked));
}

const isTyping = (target: EventTarget | null): boolean =>
  target instanceof HTMLInputElement
    ? !['range', 'checkbox', 'radio', 'button'].includes(target.type)
    : target instanceof HTMLTextAreaElement ||
      target instanceof HTMLSelectElement ||
      (target instanceof HTMLElement && target.isContentEditable);

/** How many things are not well, on the way to where they are named. */
function createBadge(live: Live): HTMLElement {
  const count = make('span');
  const badge = make(
    'span',
    { class: 'badge', hidden: true },
    '⚠ ',
    count,
    make('span', { class: 'unseen' }, ' not well'),
  );
  const update = () => {
    let faults = 0;
    for (const hand of live.hands.values()) faults += countOf(hand);
    setHidden(badge, !live.connected || faults === 0);
    setText(count, String(faults));
  };
  live.changed.on(update);
  live.client.on('health', update);
  update();
  return badge;
}

/** One line about link and rate, at the top. */
function createStatus(live: Live): HTMLElement {
  const status = make('p', { class: 'status' });
  const update = () => {
    let well = true;
    const words = [...live.hands.values()].map((hand) => {
      const { info, health, joints } = hand;
      const state = health?.link.state ?? info.link.state;
      const rateHz = state === 'live' ? Math.round(health?.rateHz ?? info.sampleRateHz) : 0;
      const recording = recordingOf(hand);
      // A replay may stand still.
      well &&= (rateHz > 0 || recording !== undefined) && joints?.valid !== false;
      if (recording !== undefined) return `${info.hand}: replay`;
      return `${info.hand}: ${state === 'live' ? `${rateHz} Hz` : 'no glove'}`;
    });
    setText(
      status,
      live.connected ? words.join(' · ') || 'No glove in the profile' : 'Waiting for the service',
    );
    setAttribute(status, 'data-connected', String(live.connected));
    setAttribute(document.body, 'data-connected', String(live.connected));
    setAttribute(status, 'data-well', String(well));
  };
  live.changed.on(update);
  live.client.on('health', update);
  update();
  return status;
}

function createLostBanner(live: Live): HTMLElement {
  const banner = make('div', { class: 'banner', role: 'alert', hidden: true });
  let wasThere = false;
  const update = () => {
    wasThere ||= live.connected;
    setHidden(banner, live.connected);
    setText(
      banner,
      live.connected
        ? ''
        : wasThere
          ? 'The service went away. This page tries again by itself; nothing has to be reloaded.'
          : 'Looking for the service…',
    );
  };
  live.changed.on(update);
  update();
  return banner;
}
