import { colourOf } from '../theme.js';

/** A line over the last seconds, newest at the right. */
export interface Trace {
  /** Ends of the scale, bottom and top. */
  low: number;
  high: number;
  colour: `--${string}`;
}

export interface StripChart {
  /** The canvas to draw on, once it is on the page, with the size and colours that it has there; null: none any more. */
  attach(canvas: HTMLCanvasElement | null): void;
  /** Reads the size and the theme's colours again. */
  layout(): void;
  /**
   * @param times seconds before the newest, -seconds..0
   * @param values an array for each trace
   * @param from the first of them that is used; @param end after the last
   * @returns false where it would look as it does already: lines that lie flat across the strip
   */
  draw(times: Float64Array, values: readonly Float64Array[], from: number, end: number): boolean;
  /**
   * Whether the line of a trace lies flat across the strip, as it was drawn last, and would with one more sample.
   *
   * @param afterS since the sample before
   */
  liesAt(trace: number, value: number, afterS: number): boolean;
}

/** A level that moved by less is not seen to have moved, px of the display. */
const UNSEEN_PX = 0.4;
/** No line is drawn over a longer silence, s. */
const SILENCE_S = 0.5;
const LINE_PX = 2;
const MARGIN_PX = 3;
/** The first and the last sample are never quite at the ends, s. */
const EDGE_S = 0.1;

/** @param seconds width of the strip */
export function createStripChart(seconds: number, traces: readonly Trace[]): StripChart {
  let context: CanvasRenderingContext2D | null | undefined;
  let colours: string[] = [];
  let grid = '';
  let [width, height, ratio] = [0, 0, 1];
  /** Of each trace, between which heights it lay when all were flat; empty while one was not. */
  let flat: { least: number; most: number }[] = [];

  const unseenOf = ({ low, high }: Trace): number => (UNSEEN_PX * (high - low)) / Math.max(1, height);

  /** Whether all lie flat over the whole strip, where they are drawn already. Keeps where they lie. */
  function looksAlike(
    times: Float64Array,
    values: readonly Float64Array[],
    from: number,
    end: number,
  ): boolean {
    const before = flat;
    flat = [];
    if (end - from < 2 || times[from] > EDGE_S - seconds || times[end - 1] < -EDGE_S) return false;
    const now: typeof flat = [];
    for (let t = 0; t < traces.length; t++) {
      const unseen = unseenOf(traces[t]);
      let [least, most] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
      for (let i = from; i < end; i++) {
        if (i > from && times[i] - times[i - 1] > SILENCE_S) return false;
        least = Math.min(least, values[t][i]);
        most = Math.max(most, values[t][i]);
        if (!(most - least <= unseen)) return false;
      }
      now.push({ least, most });
      const was = before[t];
      // Of what is drawn, too: many steps that are not seen make one that is.
      if (was && Math.max(most, was.most) - Math.min(least, was.least) <= unseen) now[t] = was;
    }
    flat = now;
    return before.length > 0 && now.every((one, t) => one === before[t]);
  }

  function layout(): void {
    flat = [];
    if (!context) {
      width = 0;
      return;
    }
    const { canvas } = context;
    ratio = Math.min(devicePixelRatio, 2);
    [width, height] = [canvas.clientWidth * ratio, canvas.clientHeight * ratio];
    if (canvas.width !== width) canvas.width = width;
    if (canvas.height !== height) canvas.height = height;
    colours = traces.map(({ colour }) => colourOf(colour));
    grid = colourOf('--line');
  }

  return {
    attach(canvas) {
      context = canvas?.getContext('2d');
      layout();
    },
    layout,
    liesAt(t, value, afterS) {
      const was = flat[t];
      if (!was || !(afterS >= 0 && afterS <= SILENCE_S)) return false;
      return Math.max(was.most, value) - Math.min(was.least, value) <= unseenOf(traces[t]);
    },
    draw(times, values, from, end) {
      if (!context || width === 0 || looksAlike(times, values, from, end)) return false;
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
          if (i === from || times[i] - times[i - 1] > SILENCE_S) context.moveTo(x, y);
          else context.lineTo(x, y);
        }
        context.stroke();
      }
      return true;
    },
  };
}
