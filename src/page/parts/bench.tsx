import { type ReadonlySignal, signal } from '@preact/signals';
import type { Delays } from '../delays.js';
import type { Live } from '../live.js';
import { atMostEvery, onDemand } from '../on-demand.js';
import type { Lead, OpenPlot, Part } from '../part.js';
import { createPanel } from '../part-panel.js';
import { themeChanged } from '../theme.js';
import { useResized } from '../use-size.js';
import { BenchCard, type Ways } from './bench-card.js';
import { type BenchHand, createBenchHand } from './bench-hand.js';
import { createFirstSteps } from './first-steps.js';

/** Numbers and bars are written so often; more cannot be read. */
const PERIOD_MS = 100;
/** The counts beside the sparklines change with every sample: those less often, all in one frame. */
const READABLE_MS = 240;
/** Sparklines drawn in one frame at most: the next ones wait for the next frame. */
const LINES_A_FRAME = 3;

/** The first part: all of a glove at a glance, beside the picture; what is not well comes first. */
export function createBenchPart(live: Live, delays: Delays, openPlot: OpenPlot, lead: Lead): Part {
  const firstSteps = createFirstSteps(live);
  /** As the picture has them: the left one first. */
  const hands = signal<readonly BenchHand[]>([]);
  let visible = false;
  let next = 0;

  const update = () => {
    for (const { side, update } of hands.peek()) {
      const hand = live.hands.get(side);
      if (hand) update(hand);
    }
  };
  const sync = () => {
    const before = hands.peek();
    const sides = (['left', 'right'] as const).filter((side) => live.hands.has(side));
    if (sides.join() !== before.map(({ side }) => side).join()) {
      hands.value = sides.map(
        (side) => before.find((hand) => hand.side === side) ?? createBenchHand(live, delays, side),
      );
    }
    update();
  };
  const all = () => hands.peek().flatMap(({ lines }) => lines.peek());
  const writeLines = atMostEvery(READABLE_MS, () => {
    if (visible) for (const line of all()) line.write();
  });
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
  const write = atMostEvery(PERIOD_MS, () => {
    if (visible) update();
  });
  const changed = () => {
    if (visible) write();
  };
  live.changed.on(sync);
  for (const kind of ['resistance', 'inputs', 'health'] as const) live.client.on(kind, changed);
  live.client.on('joints', ({ valid }) => {
    // Of a hand that is there, samples come as well: what both say is written once.
    if (!valid) changed();
  });
  live.client.on('signals', ({ hand, timeUs, counts, values }) => {
    const lines = hands
      .peek()
      .find(({ side }) => side === hand)
      ?.lines.peek();
    if (!lines || lines.length !== counts.length) return;
    for (let i = 0; i < lines.length; i++) lines[i].add(timeUs / 1e6, counts[i], values[i]);
    if (!visible) return;
    write();
    writeLines();
    if (lines.some(({ isDue }) => isDue)) draw();
  });
  themeChanged.on(layout);
  sync();

  const Bench = () => (
    <>
      <firstSteps.Box />
      <Hands hands={hands} ways={{ openPlot, lead, connect: firstSteps.toggle }} layout={layout} />
    </>
  );
  return {
    panel: createPanel('bench', 'Bench', <Bench />, { className: 'bench-part', unseenHeading: true }),
    show(now) {
      visible = now;
      if (!visible) return;
      sync();
      layout();
      writeLines();
    },
  };
}

/** @param layout for when there is more or less room */
function Hands({
  hands,
  ways,
  layout,
}: {
  hands: ReadonlySignal<readonly BenchHand[]>;
  ways: Ways;
  layout(): void;
}) {
  const box = useResized<HTMLDivElement>(layout);
  return (
    <div class="bench-hands" data-hands={hands.value.length} ref={box}>
      {hands.value.map((hand) => (
        <BenchCard key={hand.side} hand={hand} ways={ways} />
      ))}
    </div>
  );
}
