import { computed, type ReadonlySignal, signal } from '@preact/signals';
import type { HandSide } from '../../hand/joints.js';
import type { HandInfo, Live } from '../live.js';
import type { HandRecord } from '../records.js';
import type { PlotLook } from './plot.js';
import { choicesOf, fullScale, type PlotView, type Series, seriesOf } from './plot-views.js';

/** What is plotted: of which hand, which view, which lines of it, on which scales. */
export interface PlotChoice {
  readonly sides: ReadonlySignal<readonly HandSide[]>;
  readonly side: ReadonlySignal<HandSide | undefined>;
  readonly view: ReadonlySignal<PlotView>;
  /** What the view can be of; empty where it shows all at once. */
  readonly choices: ReadonlySignal<readonly { value: string; label: string }[]>;
  readonly of: ReadonlySignal<string | undefined>;
  /** Axes as the data has it, in place of the whole range. */
  readonly toFit: ReadonlySignal<boolean>;
  readonly series: ReadonlySignal<readonly Series[]>;
  /** Those of the series that are shown, and how. */
  readonly look: ReadonlySignal<PlotLook>;
  chooseSide(side: HandSide): void;
  chooseView(view: PlotView): void;
  chooseOf(of: string): void;
  fit(on: boolean): void;
  isShown(one: Series): boolean;
  showLine(one: Series, shown: boolean): void;
  /** Looks again what there is to choose from. */
  sync(): void;
}

export function createPlotChoice(live: Live, records: ReadonlyMap<HandSide, HandRecord>): PlotChoice {
  const sides = signal<readonly HandSide[]>([]);
  const chosenSide = signal<HandSide | undefined>(undefined);
  const side = computed(() => sides.value.find((one) => one === chosenSide.value) ?? sides.value[0]);
  const roles = signal<readonly string[]>([]);
  const info = signal<HandInfo | undefined>(undefined);
  const view = signal<PlotView>('fitted');
  const choices = computed(() => choicesOf(view.value, roles.value));
  const chosenOf = signal<string | undefined>(undefined);
  const of = computed(
    () => (choices.value.find(({ value }) => value === chosenOf.value) ?? choices.value[0])?.value,
  );
  const toFit = signal(false);
  /** Lines that were ticked or unticked, by view and name. */
  const ticked = signal<ReadonlyMap<string, boolean>>(new Map());
  const keyOf = ({ label }: Series): string => `${view.value} ${label}`;
  const isShown = (one: Series): boolean => ticked.value.get(keyOf(one)) ?? one.usual;
  const series = computed(() => seriesOf(view.value, roles.value, of.value));
  const look = computed(() => lookOf(series.value.filter(isShown), toFit.value ? undefined : info.value));

  function sync(): void {
    const found = [...live.hands.keys()];
    if (found.join() !== sides.peek().join()) sides.value = found;
    const shown = side.peek();
    const known = (shown && records.get(shown)?.roles) ?? [];
    if (known.join() !== roles.peek().join()) roles.value = known;
    info.value = shown && live.hands.get(shown)?.info;
  }
  return {
    sides,
    side,
    view,
    choices,
    of,
    toFit,
    series,
    look,
    chooseSide(one) {
      chosenSide.value = one;
      sync();
    },
    chooseView(one) {
      view.value = one;
    },
    chooseOf(one) {
      chosenOf.value = one;
    },
    fit(on) {
      toFit.value = on;
    },
    isShown,
    showLine(one, shown) {
      ticked.value = new Map(ticked.peek()).set(keyOf(one), shown);
    },
    sync,
  };
}

/** @param info of the hand whose whole range is shown; undefined: scales as the data has it */
function lookOf(series: readonly Series[], info: HandInfo | undefined): PlotLook {
  const bothWays = series.some(({ label }) => /splay|stick/i.test(label));
  return {
    series,
    scales: new Map(series.map(({ unit }) => [unit, info && fullScale(unit, info, bothWays)])),
  };
}
