import { type ReadonlySignal, type Signal, signal } from '@preact/signals';
import { useLayoutEffect } from 'preact/hooks';
import type { HandSide } from '../../hand/joints.js';
import type { Delays } from '../delays.js';
import type { Live, LiveHand } from '../live.js';
import { onDemand } from '../on-demand.js';
import type { OpenPlot, Part } from '../part.js';
import { createPanel } from '../part-panel.js';
import { themeChanged } from '../theme.js';
import { useResized } from '../use-size.js';
import { type ChannelRow, ChannelRowItem, createChannelRow } from './channel-row.js';
import { createDelayReports, DelayCard } from './delay-card.js';
import { LinkFacts, type LinkReport, linkReport } from './link-facts.js';
import { PlotCard } from './plot-card.js';
import { createPlotState, DRAW_MS } from './plot-state.js';
import { sideText } from './words.js';

/** Charts drawn in one frame at most: the next ones wait for the next frame. */
const ROWS_A_FRAME = 2;
/** Numbers that change faster cannot be read. */
const READABLE_MS = 250;

/** A hand as it is shown: its name, its link, and a row for each of its channels. */
interface Shown {
  side: HandSide;
  title: Signal<string>;
  report: Signal<LinkReport | undefined>;
  rows: Signal<readonly ChannelRow[]>;
  /** Of the rows. */
  roles: string;
}

/** Part 2: what every sensor says, and how it comes. */
export function createSignalsPart(live: Live, delays: Delays): Part & { plot: OpenPlot } {
  const delayReports = createDelayReports(live, delays);
  const hands = signal<readonly Shown[]>([]);
  let isVisible = false;
  let next = 0;

  const all = () => hands.peek().flatMap(({ rows }) => rows.peek());
  const write = onDemand(() => {
    if (isVisible) for (const row of all()) row.write();
  }, READABLE_MS);
  const draw = onDemand((nowMs) => {
    if (!isVisible) return;
    const waits = plot.draw(nowMs);
    delayReports.draw(nowMs);
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
  const plot = createPlotState(live, draw);
  const layout = () => {
    if (!isVisible) return;
    for (const row of all()) row.layout();
    draw();
  };

  /** A row for each channel: what comes is kept while another part is shown, too. */
  function fill(shown: Shown, { health }: LiveHand): void {
    const roles = health?.channels.map(({ role }) => role);
    if (!roles || roles.join() === shown.roles) return;
    shown.roles = roles.join();
    shown.rows.value = roles.map(createChannelRow);
  }
  function say({ title, report, rows }: Shown, hand: LiveHand): void {
    const { info, health } = hand;
    title.value = `${sideText(info.hand)}: ${info.name}`;
    if (!health) return;
    report.value = linkReport(hand, delays.summary(info.hand), live.client.welcome?.server.version);
    const isSilent = !live.connected || health.link.state !== 'live' || health.rateHz === 0;
    for (const [i, row] of rows.peek().entries()) {
      const { role } = health.channels[i];
      row.judge(health.channels[i], isSilent);
      const known = info.channels.find((one) => one.role === role);
      if (known) row.range({ bits: known.bits, open: known.open, closed: known.closed });
    }
  }
  const sync = () => {
    const before = hands.peek();
    const sides = [...live.hands.keys()];
    if (sides.join() !== before.map(({ side }) => side).join())
      hands.value = sides.map((side) => before.find((one) => one.side === side) ?? nothingOf(side));
    for (const shown of hands.peek()) {
      const hand = live.hands.get(shown.side);
      if (!hand) continue;
      fill(shown, hand);
      if (isVisible) say(shown, hand);
    }
    if (!isVisible) return;
    // What is said of a link, or of a service that is gone, comes without samples.
    write();
    draw();
  };

  live.changed.on(sync);
  live.client.on('health', sync);
  live.client.on('signals', ({ hand, timeUs, counts, values }) => {
    const rows = hands
      .peek()
      .find(({ side }) => side === hand)
      ?.rows.peek();
    if (!rows || rows.length !== counts.length) return;
    for (let i = 0; i < rows.length; i++) rows[i].add(timeUs / 1e6, counts[i], values[i]);
    if (!isVisible) return;
    write();
    lookAtRows();
  });
  themeChanged.on(layout);

  const Signals = () => (
    <>
      <PlotCard state={plot} />
      <DelayCard hands={delayReports.hands} />
      <Key />
      <Hands hands={hands} layout={layout} />
    </>
  );
  return {
    panel: createPanel('signals', 'Signals', <Signals />, { unseenHeading: true }),
    plot: plot.show,
    show(shown) {
      isVisible = shown;
      if (!shown) return;
      sync();
      plot.choice.sync();
      layout();
    },
  };
}

const nothingOf = (side: HandSide): Shown => ({
  side,
  title: signal(''),
  report: signal(undefined),
  rows: signal([]),
  roles: '',
});

/** What the colours of the rows mean. */
const Key = () => (
  <p class="lead keys">
    <span class="key-raw">raw counts</span>
    <span class="key-value">filtered value</span>
    <span class="key-fitted">fitted range</span>
    <span class="key-seen">seen so far</span>
  </p>
);

/** @param layout for when there is more or less room */
function Hands({ hands, layout }: { hands: ReadonlySignal<readonly Shown[]>; layout(): void }) {
  const box = useResized<HTMLDivElement>(layout);
  return (
    <div class="signals" ref={box}>
      {hands.value.map(({ side, title, report, rows }) => (
        <article key={side} class="signals-hand" data-hand={side}>
          <h3>{title}</h3>
          <LinkFacts report={report} />
          <Channels side={side} rows={rows} layout={layout} />
        </article>
      ))}
    </div>
  );
}

function Channels({ side, rows, layout }: Pick<Shown, 'side' | 'rows'> & { layout(): void }) {
  const all = rows.value;
  // Charts ask for their size once they are in the page.
  useLayoutEffect(layout, [all]);
  return (
    <ul class="channels" aria-label={`Channels of the ${side} hand`}>
      {all.map((row) => (
        <ChannelRowItem key={row.role} row={row} />
      ))}
    </ul>
  );
}
