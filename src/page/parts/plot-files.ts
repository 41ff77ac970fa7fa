import { saveFile, saveText, tableText } from '../save.js';
import { colourOf } from '../theme.js';
import { traceColour } from './chart-style.js';
import type { Series } from './plot-views.js';

/** CSV of what is seen, a row a sample. @param data times, s, and an array for each line, in its unit */
export const csvOf = (series: readonly Series[], data: (number | null)[][]): string =>
  tableText(
    ['time [s]', ...series.map(({ label, unit }) => `${label} [${unit}]`)],
    data[0].map((timeS, row) => [
      timeS?.toFixed(4) ?? '',
      ...series.map((_, i) => {
        const value = data[i + 1][row];
        return value === null || value === undefined ? '' : String(Number(value.toFixed(4)));
      }),
    ]),
  );

export const saveCsv = (name: string, series: readonly Series[], data: (number | null)[][]): void =>
  saveText(`${name}.csv`, csvOf(series, data));

/** The plot as it is seen, under a line that says what it is, over a key of its lines. */
export function savePng(
  name: string,
  title: string,
  plot: HTMLCanvasElement,
  series: readonly Series[],
): void {
  const ratio = devicePixelRatio;
  const line = 22 * ratio;
  const columns = Math.max(1, Math.min(series.length, Math.floor(plot.width / (170 * ratio))));
  const rows = Math.ceil(series.length / columns);
  const canvas = document.createElement('canvas');
  canvas.width = plot.width;
  canvas.height = plot.height + line * (rows + 1.6);
  const context = canvas.getContext('2d');
  if (!context) return;
  context.fillStyle = colourOf('--card');
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.fillStyle = colourOf('--ink');
  context.textBaseline = 'middle';
  context.font = `600 ${14 * ratio}px system-ui, sans-serif`;
  context.fillText(title, 10 * ratio, line / 2 + 3 * ratio);
  context.drawImage(plot, 0, line * 1.2);
  context.font = `${13 * ratio}px system-ui, sans-serif`;
  series.forEach(({ label, unit, colour, dash }, i) => {
    const x = 10 * ratio + (i % columns) * (plot.width / columns);
    const y = plot.height + line * (1.7 + Math.floor(i / columns));
    context.strokeStyle = colourOf(traceColour(colour));
    context.lineWidth = 2 * ratio;
    context.setLineDash(dash.map((part) => part * ratio));
    context.beginPath();
    context.moveTo(x, y);
    context.lineTo(x + 24 * ratio, y);
    context.stroke();
    context.fillText(`${label}, ${unit}`, x + 30 * ratio, y);
  });
  canvas.toBlob((blob) => {
    if (blob) saveFile(`${name}.png`, blob);
  });
}
