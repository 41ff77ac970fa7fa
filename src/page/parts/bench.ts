import type { HandSide } from '../../hand/joints.js';
import type { Delays } from '../delays.js';
import { button, make, setAttribute, setHidden, setText } from '../dom.js';
import { faultsOf } from '../faults.js';
import { isSimulated, type Live, recordingOf } from '../live.js';
import { onDemand } from '../on-demand.js';
import type { Lead, OpenPlot, Part } from '../part.js';
import { themeChanged } from '../theme.js';
import { type ChannelLine, createChannelLine } from './channel-line.js';
import { createFingerTable } from './finger-table.js';
import { createFirstSteps } from './first-steps.js';
import { createInputTester } from './input-tester.js';
import { BENCH_FACTS, createLinkFacts } from './link-facts.js';
import { sideText } from './words.js';
import { createWristNote } from './wrist-note.js';

/** Numbers and bars are written so often; more cannot be read. */
const PERIOD_MS = 100;
/** The counts beside the sparklines change with every sample: those less often, all in one frame. */
const READABLE_MS = 240;
/** Of a converter of which nothing is known. */
const USUAL_BITS = 12;
/** Sparklines drawn in one frame at most: the next ones wait for the next frame. */
const LINES_A_FRAME = 3;

/** The first part: all of a glove at a glance, beside the picture; what is not well comes first. */
export function createBenchPart(live: Live, delays: Delays, openPlot: OpenPlot, lead: Lead): Part {
  const hands = make('div', { class: 'bench-hands' });
  const firstSteps = createFirstSteps(live);
  const panel = make(
    'section',
    { 'aria-labelledby': 'bench-title', class: 'bench-part' },
    make('h2', { id: 'bench-title', class: 'unseen' }, 'Bench'),
    firstSteps.element,
    hands,
  );
  const shown = new Map<HandSide, Card>();
  let visible = false;
  let next = 0;

  const sync = () => {
    for (const [side, { card }] of shown) {
      if (live.hands.has(side)) continue;
      card.remove();
      shown.delete(side);
    }
    for (const side of live.hands.keys()) {
      if (shown.has(side)) continue;
      const card = createCard(live, delays, side, { openPlot, lead, connect: firstSteps.toggle });
      shown.set(side, card);
      // As the picture has them.
      if (side === 'left') hands.prepend(card.card);
      else hands.append(card.card);
    }
    setAttribute(hands, 'data-hands', String(shown.size));
    update();
  };
  const update = () => {
    for (const card of shown.values()) card.update();
  };
  const all = () => [...shown.values()].flatMap(({ lines }) => lines());
  const write = onDemand(() => {
    if (visible) for (const line of all()) line.write();
  }, READABLE_MS);
  const draw = onDemand(() => {
    if (!visible) return;
    const lines = all();
    let drawn = 0;
    // Around once at most, past those that have nothing new.
    for (let n = 0; n < lines.length && drawn < LINES_A_FRAME; n++) {
      if (lines[next++ % lines.length].draw()) drawn++;
    }
    if (drawn > 0) draw();
  });
  const layout = () => {
    for (const line of all()) line.layout();
    draw();
  };
  const changed = onDemand(() => {
    if (visible) update();
  }, PERIOD_MS);
  live.changed.on(sync);
  for (const kind of ['joints', 'resistance', 'inputs', 'health'] as const) live.client.on(kind, changed);
  live.client.on('signals', ({ hand, timeUs, counts, values }) => {
    const lines = shown.get(hand)?.lines();
    if (!lines || lines.length !== counts.length) return;
    for (let i = 0; i < lines.length; i++) lines[i].add(timeUs / 1e6, counts[i], values[i]);
    if (!visible) return;
    changed();
    write();
    draw();
  });
  themeChanged.on(layout);
  new ResizeObserver(layout).observe(hands);
  sync();
  return {
    name: 'bench',
    label: 'Bench',
    icon: '<path d="M3 4h8v16H3zM14 4h7v7h-7zM14 14h7v6h-7z" fill="none" stroke="currentColor" stroke-width="2" stroke-linejoin="round"/>',
    panel,
    show(now) {
      visible = now;
      if (!visible) return;
      sync();
      layout();
      write();
    },
  };
}

interface Card {
  card: HTMLElement;
  update(): void;
  lines(): readonly ChannelLine[];
}

/** Read, but not seen where there is no room. */
const long = (text: string): HTMLElement => make('span', { class: 'long' }, text);

/** Where a card leads. */
interface Ways {
  openPlot: OpenPlot;
  lead: Lead;
  connect(): void;
}

function createCard(live: Live, delays: Delays, side: HandSide, { openPlot, lead, connect }: Ways): Card {
  const name = make('h3');
  const stale = make('span', { class: 'stale', hidden: true }, 'Stale');
  const state = make('p', { class: 'lead wide', role: 'status' });
  const played = make('p', { class: 'played', hidden: true });
  const simulated = button('Simulated', connect, {
    class: 'small',
    hidden: true,
    'aria-label': 'Simulated: connect yours',
    title: 'Connect a glove of your own',
  });
  // What a glance does not tell: a sensor the wrong way round, a servo that does nothing.
  const of = `the ${side} hand`;
  const check = button('Check', () => lead('check', side), {
    class: 'small next',
    title: `A few moves find what a glance does not, in the glove of ${of}`,
  });
  check.append(long(' the glove'));
  const servos = button('', () => lead('servos', side), {
    class: 'small next',
    title: `One at a time, on ${of}`,
  });
  servos.append(long('Try the '), make('span', { class: 'short' }, 'servos'));
  const faultList = make('ul', { class: 'faults', 'aria-label': `Faults of the ${side} hand` });
  const list = make('ul', { class: 'lines', 'aria-label': `Channels of the ${side} hand` });
  const fingers = createFingerTable(live);
  const inputs = createInputTester();
  const facts = createLinkFacts(BENCH_FACTS, 'link-line');
  const wrist = createWristNote();
  const card = make(
    'article',
    { class: 'bench-hand', 'data-hand': side },
    make(
      'header',
      {},
      make('div', { class: 'heading' }, name, state, simulated, stale, check, servos),
      played,
      faultList,
      fingers.unused,
    ),
    make('section', { class: 'channels-of' }, make('h4', {}, 'Channels'), list),
    fingers.element,
    inputs.element,
    make('section', { class: 'link-of' }, make('h4', {}, 'Link and battery'), facts.element, wrist.element),
  );
  let lines: ChannelLine[] = [];
  let roles = '';
  let said = '';

  const update = () => {
    const hand = live.hands.get(side);
    if (!hand) return;
    const { info, health, joints } = hand;
    const recording = recordingOf(hand);
    const of = recording === undefined ? info.name : `replay of ${recording}`;
    setText(name, `${side === 'left' ? 'Left' : 'Right'} hand: ${of}`);
    setHidden(played, recording === undefined);
    setText(played, `Recorded with ${info.name}. Nothing can be felt: forces are not possible.`);
    const silent = !live.connected || health?.link.state !== 'live' || health.rateHz === 0;
    setHidden(stale, !silent);
    // There is nothing to find in one that is not there, or that moves by itself.
    const nothingToFind = silent || recording !== undefined || isSimulated(hand);
    setHidden(check, nothingToFind);
    setHidden(servos, nothingToFind || info.actuators.every(({ kind }) => kind === 'vibration'));
    setHidden(simulated, !live.connected || !isSimulated(hand) || recording !== undefined);
    card.classList.toggle('old', silent);
    // What is not known now is not said to be a fault of the glove.
    const faults = live.connected ? faultsOf(hand) : [];
    const key = JSON.stringify(faults);
    if (key !== said) {
      said = key;
      faultList.replaceChildren(
        ...faults.map(({ where, what, remedy, role }) =>
          make(
            'li',
            {},
            make('strong', {}, `${where}: ${what}`),
            remedy === '' ? undefined : ` ${remedy} `,
            role === undefined
              ? undefined
              : button('Plot it', () => openPlot(side, role), {
                  class: 'link plot-it',
                  'aria-label': `Plot ${where}`,
                }),
          ),
        ),
      );
    }
    if (!live.connected) setText(state, 'The service does not answer; this is the last pose it sent.');
    else if (!joints) setText(state, health?.link.reason ? '' : 'Waiting for the first pose.');
    else if (!joints.valid)
      setText(state, faults.length > 0 ? '' : (joints.reason ?? 'The glove sends nothing.'));
    else
      setText(
        state,
        `${joints.space === 'world' ? 'Placed in the world' : 'Around the wrist'}. ${faults.length === 0 ? 'No fault seen.' : ''}`,
      );
    fingers.update(hand);
    inputs.update(silent ? { ...hand, inputs: undefined } : hand);
    facts.update(hand, silent ? undefined : delays.summary(side));
    wrist.update(hand);

    const channels = health?.channels ?? [];
    const now = channels.map(({ role }) => role).join();
    if (now !== roles) {
      roles = now;
      lines = channels.map(({ role }) => {
        const bits = info.channels.find((channel) => channel.role === role)?.bits ?? USUAL_BITS;
        return createChannelLine(role, bits, () => openPlot(side, role));
      });
      list.replaceChildren(...lines.map(({ element }) => element));
      for (const line of lines) line.layout();
    }
    channels.forEach((channel, i) => {
      lines[i].judge(channel, silent);
    });
  };
  setText(name, sideText(side));
  return { card, update, lines: () => lines };
}
