import type { HandSide } from '../../hand/joints.js';
import type { Delays } from '../delays.js';
import { make, setText } from '../dom.js';
import type { Live, LiveHand } from '../live.js';
import { onDemand } from '../on-demand.js';
import type { OpenPlot, Part } from '../part.js';
import { themeChanged } from '../theme.js';
import { type ChannelRow, createChannelRow } from './channel-row.js';
import { createDelayCard } from './delay-card.js';
import { createLinkFacts } from './link-facts.js';
import { createPlotCard, DRAW_MS } from './plot-card.js';
import { sideText } from './words.js';

/** Charts drawn in one frame at most: the next ones wait for the next frame. */
const ROWS_A_FRAME = 2;
/** Numbers that change faster cannot be read. */
const READABLE_MS = 250;

interface Shown {
  card: HTMLElement;
  title: HTMLElement;
  facts: ReturnType<typeof createLinkFacts>;
  list: HTMLElement;
  rows: ChannelRow[];
  roles: string;
}

/** Part 2: what every sensor says, and how it comes. */
export function createSignalsPart(live: Live, delays: Delays): Part & { plot: OpenPlot } {
  const plot = createPlotCard(live, () => draw());
  const delayCard = createDelayCard(live, delays);
  const body = make('div', { class: 'signals' });
  const panel = make(
    'section',
    { 'aria-labelledby': 'signals-title' },
    make('h2', { id: 'signals-title', class: 'unseen' }, 'Signals'),
    plot.element,
    delayCard.element,
    make(
      'p',
      { class: 'lead keys' },
      make('span', { class: 'key-raw' }, 'raw counts'),
      make('span', { class: 'key-value' }, 'filtered value'),
      make('span', { class: 'key-fitted' }, 'fitted range'),
      make('span', { class: 'key-seen' }, 'seen so far'),
    ),
    body,
  );
  const hands = new Map<HandSide, Shown>();
  let visible = false;
  let next = 0;

  const all = () => [...hands.values()].flatMap(({ rows }) => rows);
  const write = onDemand(() => {
    if (visible) for (const row of all()) row.write();
  }, READABLE_MS);
  const draw = onDemand((nowMs) => {
    if (!visible) return;
    const waits = plot.draw(nowMs);
    delayCard.draw(nowMs);
    const rows = all();
    let drawn = 0;
    // Around once at most, past those that have nothing new.
    for (let n = 0; n < rows.length && drawn < ROWS_A_FRAME; n++) {
      if (rows[next++ % rows.length].draw()) drawn++;
    }
    if (drawn > 0) draw();
    else if (waits) lookAtRows();
  });

  /** While lines lie flat, looking for one that no longer does is all there is to do. */
  const lookAtRows = onDemand(draw, DRAW_MS);

  const sync = () => {
    for (const [side, { card }] of hands) {
      if (live.hands.has(side)) continue;
      card.remove();
      hands.delete(side);
    }
    for (const [side, hand] of live.hands) {
      const shown = hands.get(side) ?? createCard(side);
      if (!hands.has(side)) {
        hands.set(side, shown);
        body.append(shown.card);
      }
      update(shown, hand);
    }
    if (!visible) return;
    // What is said of a link, or of a service that is gone, comes without samples.
    write();
    draw();
  };
  const layout = () => {
    if (!visible) return;
    plot.layout();
    delayCard.layout();
    for (const row of all()) row.layout();
    draw();
  };

  function createCard(side: HandSide): Shown {
    const title = make('h3');
    const facts = createLinkFacts();
    const list = make('ul', { class: 'channels', 'aria-label': `Channels of the ${side} hand` });
    const card = make('article', { class: 'signals-hand', 'data-hand': side }, title, facts.element, list);
    return { card, title, facts, list, rows: [], roles: '' };
  }

  function update(shown: Shown, hand: LiveHand): void {
    setText(shown.title, `${sideText(hand.info.hand)}: ${hand.info.name}`);
    shown.facts.update(hand, delays.summary(hand.info.hand), live.client.welcome?.server.version);
    const channels = hand.health?.channels;
    if (!channels) return;
    const roles = channels.map(({ role }) => role).join();
    if (roles !== shown.roles) {
      shown.roles = roles;
      shown.rows = channels.map(({ role }) => createChannelRow(role));
      shown.list.replaceChildren(...shown.rows.map(({ element }) => element));
      layout();
    }
    const silent = !live.connected || hand.health?.link.state !== 'live' || hand.health.rateHz === 0;
    channels.forEach((channel, i) => {
      shown.rows[i].judge(channel, silent);
      const known = hand.info.channels.find(({ role }) => role === channel.role);
      if (known) shown.rows[i].range({ bits: known.bits, open: known.open, closed: known.closed });
    });
  }

  live.changed.on(sync);
  live.client.on('health', sync);
  live.client.on('signals', ({ hand, timeUs, counts, values }) => {
    const rows = hands.get(hand)?.rows;
    if (!rows || rows.length !== counts.length) return;
    for (let i = 0; i < rows.length; i++) rows[i].add(timeUs / 1e6, counts[i], values[i]);
    if (!visible) return;
    write();
    lookAtRows();
  });
  themeChanged.on(layout);
  new ResizeObserver(layout).observe(body);

  return {
    name: 'signals',
    label: 'Signals',
    icon: '<path d="M2 13h4l2.500-8 4 15 3-11 1.500 4h5" fill="none" stroke="currentColor" stroke-width="2" stroke-linejoin="round" stroke-linecap="round"/>',
    panel,
    plot(side, role) {
      plot.show(side, role);
    },
    show(shown) {
      visible = shown;
      if (!shown) return;
      sync();
      plot.sync();
      layout();
      write();
    },
  };
}
