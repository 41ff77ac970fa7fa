import { drawing, make, setText } from '../dom.js';
import { traceColour } from './plot.js';
import { type PlotView, type Series, unitText } from './plot-views.js';

/** The lines of a plot: which are drawn, how each looks, and its value. */
export interface PlotLines {
  readonly element: HTMLElement;
  /** Other lines; what was ticked before stays so. */
  fill(view: PlotView, series: readonly Series[]): void;
  ticked(): Series[];
  /** @param read a line's value at the cursor */
  write(read: (one: Series) => number | null | undefined, shown: readonly Series[]): void;
}

/** @param changed another line was ticked */
export function createPlotLines(changed: () => void): PlotLines {
  const element = make('ul', { class: 'plot-lines', 'aria-label': 'Lines of the plot' });
  const hidden = new Set<string>();
  const known = new Set<string>();
  let series: readonly Series[] = [];
  let view: PlotView = 'fitted';
  const keyOf = (one: Series): string => `${view} ${one.label}`;

  function line(one: Series): HTMLElement {
    const key = keyOf(one);
    if (!known.has(key)) {
      known.add(key);
      if (!one.usual) hidden.add(key);
    }
    const box = make('input', { type: 'checkbox', checked: !hidden.has(key) });
    box.addEventListener('change', () => {
      if (box.checked) hidden.delete(key);
      else hidden.add(key);
      changed();
    });
    const swatch = drawing('0 0 26 8', `<path d="M0 4H26" stroke-dasharray="${one.dash.join(' ')}"/>`);
    swatch.style.color = `var(${traceColour(one.colour)})`;
    return make('li', {}, make('label', {}, box, swatch, one.label), make('span', { class: 'value' }, '–'));
  }

  return {
    element,
    fill(of, all) {
      view = of;
      series = all;
      element.replaceChildren(...all.map(line));
    },
    ticked: () => series.filter((one) => !hidden.has(keyOf(one))),
    write(read, shown) {
      series.forEach((one, i) => {
        const value = shown.includes(one) ? read(one) : undefined;
        const text = element.children[i]?.querySelector('.value');
        if (text) setText(text, value === null || value === undefined ? '–' : unitText(value, one.unit));
      });
    },
  };
}
