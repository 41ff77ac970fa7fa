import { make } from '../dom.js';
import { colourOf } from '../theme.js';

/** A line over the last seconds, newest at the right. */
export interface Trace {
  /** Ends of the scale, bottom and top. */
  low: number;
  high: number;
  colour: `--${string}`;
}

export interface StripChart {
  readonly element: HTMLCanvasElement;
  /** Reads the size and the theme's colours again. */
  layout(): void;
  /**
   * @param times seconds before the newest, -seconds..0
   * @param values an array for each trace
   * @param count how many of them are used, from `from` on
   */
  draw(times: Float64Array, values: readonly Float64Array[], from: number, end: number): void;
}

const LINE_PX = 2;
const MARGIN_PX = 3;

/** @param seconds width of the strip */
export function createStripChart(seconds: number, traces: readonly Trace[]): StripChart {
  const element = make('canvas', { class: 'chart', 'aria-hidden': 'true' });
  const context = element.getContext('2d') as CanvasRenderingContext2D;
  let colours: string[] = [];
  let grid = '';
  let [width, height, ratio] = [0, 0, 1];
  return {
    element,
    layout() {
      ratio = Math.min(devicePixelRatio, 2);
      [width, height] = [element.clientWidth * ratio, element.clientHeight * ratio];
      if (element.width !== width) element.width = width;
      if (element.height !== height) element.height = height;
      colours = traces.map(({ colour }) => colourOf(colour));
      grid = colourOf('--line');
    },
    draw(times, values, from, end) {
      if (width === 0) return;
      context.clearRect(0, 0, width, height);
      context.fillStyle = grid;
      for (let s = 1; s < seconds; s++) context.fillRect(Math.round((s / seconds) * width), 0, 1, height);
      context.lineWidth = LINE_PX * ratio;
      context.lineJoin = 'round';
      const margin = MARGIN_PX * ratio;
      for (let t = 0; t < traces.length; t++) {
        const { low, high } = traces[t];
        const scale = (height - 2 * margin) / (high - low);
        context.strokeStyle = colours[t];
        context.beginPath();
        for (let i = from; i < end; i++) {
          const x = (1 + times[i] / seconds) * width;
          const y = height - margin - (values[t][i] - low) * scale;
          if (i === from) context.moveTo(x, y);
          else context.lineTo(x, y);
        }
        context.stroke();
      }
    },
  };
}
