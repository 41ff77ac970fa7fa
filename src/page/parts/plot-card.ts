import type { HandSide } from '../../hand/joints.js';
import { button, make, setAttribute, setHidden, setText } from '../dom.js';
import type { Live } from '../live.js';
import { createRecords, type HandRecord, KEPT_S } from '../records.js';
import type { TraceTable } from '../trace-table.js';
import { createPlot } from './plot.js';
import { saveCsv, savePng } from './plot-files.js';
import { createPlotLines } from './plot-lines.js';
import {
  choicesOf,
  fullScale,
  PLOT_VIEWS,
  type PlotView,
  type Series,
  seriesOf,
  type Unit,
  VIEW_NAME,
} from './plot-views.js';
import { createPlotWords } from './plot-words.js';
import { sideText } from './words.js';

const SPANS_S = [2, 5, 10, 30, 60];
const USUAL_S = 10;
/** Drawn so often at most; words and numbers are written less often, to be read. */
export const DRAW_MS = 60;
const READABLE_MS = 250;

let ids = 0;

/** The instrument: what to plot, its lines, time, pause and zoom, and files of what is seen. */
export interface PlotCard {
  readonly element: HTMLElement;
  show(side: HandSide, role: string): void;
  /** Of the hands, what there is to choose from. */
  sync(): void;
  layout(): void;
  /** @returns whether there is more to draw or to write, and only not yet */
  draw(nowMs: number): boolean;
}

/** @param ask for a call of `draw`: something was changed by hand */
export function createPlotCard(live: Live, ask: () => void): PlotCard {
  const records = createRecords(live);
  let side: HandSide | undefined;
  let view: PlotView = 'fitted';
  let of: string | undefined;
  let spanS = USUAL_S;
  /** Ends that were zoomed to, s before the newest. */
  let zoom: [number, number] | undefined;
  let frozen: TraceTable | undefined;
  let toFit = false;
  let series: Series[] = [];
  let seen: { data: (number | null)[][]; shown: Series[] } = { data: [[]], shown: [] };
  let drawnMs = Number.NEGATIVE_INFINITY;
  /** Time of the newest sample that is drawn. */
  let drawnS = Number.NaN;
  let writtenMs = Number.NEGATIVE_INFINITY;
  /** The numbers and words are not those of what is drawn. */
  let toWrite = true;
  let built = '';

  const plot = createPlot(
    (fromS, toS) => zoomTo(fromS, toS),
    () => zoomTo(undefined),
    rewrite,
  );
  const words = createPlotWords(rewrite);
  const handSelect = select('Hand', (value) => {
    side = value as HandSide;
    pause(false);
    rebuild();
  });
  const viewSelect = select('Plot', (value) => {
    view = value as PlotView;
    rebuild();
  });
  viewSelect.fill(PLOT_VIEWS.map((value) => ({ value, label: VIEW_NAME[value] })));
  const ofSelect = select('Of', (value) => {
    of = value;
    rebuild();
  });
  const spanSelect = select('Time', (value) => {
    spanS = Number(value);
    zoomTo(undefined);
  });
  spanSelect.fill(SPANS_S.map((s) => ({ value: String(s), label: `${s} s` })));
  spanSelect.choose(String(USUAL_S));
  const pauseButton = button('Pause', () => pause(frozen === undefined));
  const fitButton = button(
    'Scale to data',
    () => {
      toFit = !toFit;
      setAttribute(fitButton, 'aria-pressed', String(toFit));
      rebuild();
    },
    { 'aria-pressed': 'false' },
  );
  const all = button('Whole time', () => zoomTo(undefined));
  const title = () => `${side ? sideText(side) : ''}: ${VIEW_NAME[view].toLowerCase()}`;
  const fileName = () => `tautline-${side}-${view}`;
  const lines = createPlotLines(() => reline());
  const element = make(
    'article',
    { class: 'card plot-card' },
    make(
      'div',
      { class: 'plot-bar' },
      handSelect.element,
      viewSelect.element,
      ofSelect.element,
      spanSelect.element,
      pauseButton,
      button('Zoom in', () => zoomBy(0.5)),
      button('Zoom out', () => zoomBy(2)),
      all,
      fitButton,
      button('PNG', () => plot.canvas && savePng(fileName(), title(), plot.canvas, seen.shown), {
        'aria-label': 'Save the plot as PNG',
      }),
      button('CSV', () => saveCsv(fileName(), seen.shown, seen.data), {
        'aria-label': 'Save what is seen as CSV',
      }),
    ),
    plot.element,
    lines.element,
    words.element,
  );

  const record = (): HandRecord | undefined => (side === undefined ? undefined : records.get(side));
  const span = (): [number, number] => zoom ?? [-spanS, 0];

  function pause(on: boolean): void {
    frozen = on ? record()?.table.copy() : undefined;
    if (!frozen) zoom = undefined;
    setText(pauseButton, frozen ? 'Go on' : 'Pause');
    setAttribute(pauseButton, 'aria-pressed', String(frozen !== undefined));
    now();
  }

  /** Where the cursor is, or what is open to be read, has changed. */
  function rewrite(): void {
    writtenMs = Number.NEGATIVE_INFINITY;
    toWrite = true;
    ask();
  }

  /** A part of the time, which stands still; undefined: all of it. */
  function zoomTo(fromS: number | undefined, toS = 0): void {
    if (fromS === undefined) zoom = undefined;
    else {
      if (!frozen) pause(true);
      zoom = [Math.max(-KEPT_S, fromS), Math.min(0, toS)];
    }
    now();
  }
  function zoomBy(factor: number): void {
    const [fromS, toS] = span();
    const [middle, half] = [(fromS + toS) / 2, Math.max(0.05, ((toS - fromS) / 2) * factor)];
    // Kept inside of what there is.
    const end = Math.min(0, Math.max(middle + half, 2 * half - KEPT_S));
    zoomTo(end - 2 * half, end);
  }
  function now(): void {
    drawnMs = writtenMs = Number.NEGATIVE_INFINITY;
    ask();
  }

  /** Other lines, or other axes. */
  function rebuild(): void {
    const roles = record()?.roles ?? [];
    const choices = choicesOf(view, roles);
    setHidden(ofSelect.element, choices.length === 0);
    ofSelect.fill(choices);
    if (choices.length > 0 && !choices.some(({ value }) => value === of)) of = choices[0].value;
    if (of !== undefined) ofSelect.choose(of);
    viewSelect.choose(view);
    series = seriesOf(view, roles, of);
    lines.fill(view, series);
    reline();
  }

  /** The lines that are ticked, on their scales. */
  function reline(): void {
    const info = side && live.hands.get(side)?.info;
    const shown = lines.ticked();
    seen = { data: [[]], shown };
    const bothWays = shown.some(({ label }) => /splay|stick/i.test(label));
    const scales = new Map<Unit, [number, number] | undefined>();
    for (const { unit } of shown)
      scales.set(unit, toFit || !info ? undefined : fullScale(unit, info, bothWays));
    plot.build(shown, scales);
    now();
  }

  function sync(): void {
    const sides = [...live.hands.keys()];
    if (side === undefined || !live.hands.has(side)) side = sides[0];
    setHidden(handSelect.element, sides.length < 2);
    handSelect.fill(sides.map((value) => ({ value, label: sideText(value) })));
    if (side) handSelect.choose(side);
    const key = `${side} ${record()?.roles.join()}`;
    if (key === built) return;
    built = key;
    rebuild();
  }

  return {
    element,
    sync,
    show(hand, role) {
      side = hand;
      of = role;
      view = 'both';
      sync();
      rebuild();
    },
    layout: () => {
      reline();
      plot.layout();
    },
    draw(nowMs) {
      const newestS = (frozen ?? record()?.table)?.newestS;
      if (nowMs - drawnMs < DRAW_MS) return toWrite || newestS !== drawnS;
      // What stands still is drawn once.
      const still = (frozen !== undefined || !live.connected) && drawnMs > 0;
      sync();
      const table = frozen ?? record()?.table;
      if (!table || Number.isNaN(table.newestS)) return false;
      const [fromS, toS] = span();
      if (!still && !(table.newestS === drawnS && drawnMs > 0)) {
        drawnMs = nowMs;
        drawnS = table.newestS;
        const { newestS } = table;
        const data = table.slice(
          seen.shown.map(({ column }) => column),
          newestS + fromS,
          newestS + toS,
        );
        data[0] = data[0].map((timeS) => (timeS ?? 0) - newestS);
        seen.shown.forEach(({ factor }, i) => {
          if (factor !== 1) data[i + 1] = data[i + 1].map((value) => value && value * factor);
        });
        seen.data = data;
        plot.draw(data, fromS, toS);
        toWrite = true;
      }
      if (!toWrite || nowMs - writtenMs < READABLE_MS) return toWrite;
      writtenMs = nowMs;
      toWrite = false;
      const at = plot.at ?? seen.data[0].length - 1;
      lines.write((one) => seen.data[seen.shown.indexOf(one) + 1]?.[at], seen.shown);
      words.update(seen.shown, seen.data, at, [fromS, toS], frozen !== undefined);
      return false;
    },
  };
}

/** A list to choose one of, with its name in front. */
function select(name: string, choose: (value: string) => void) {
  const id = `select${++ids}`;
  const field = make('select', { id });
  const element = make('span', { class: 'field' }, make('label', { for: id }, name), field);
  field.addEventListener('change', () => choose(field.value));
  let filled = '';
  return {
    element,
    fill(options: readonly { value: string; label: string }[]) {
      const key = JSON.stringify(options);
      if (key === filled) return;
      filled = key;
      field.replaceChildren(...options.map(({ value, label }) => make('option', { value }, label)));
    },
    choose(value: string) {
      field.value = value;
    },
  };
}
