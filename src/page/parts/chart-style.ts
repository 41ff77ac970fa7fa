import '../valid-language.js';
import type uPlot from 'uplot';
import { colourOf } from '../theme.js';

/** Ink, lines and letters of an axis, in the colours of now. */
export function axisStyle(): { line: string; axis: uPlot.Axis } {
  const [ink, line] = [colourOf('--ink'), colourOf('--line')];
  const fontPx = Math.round(0.9 * Number.parseFloat(getComputedStyle(document.documentElement).fontSize));
  const font = `${fontPx}px system-ui, sans-serif`;
  return { line, axis: { stroke: ink, font, labelFont: font, ticks: { stroke: line, width: 1 } } };
}

const TRACE_COLOURS = 6;
export const traceColour = (index: number): `--${string}` => `--trace-${index % TRACE_COLOURS}`;
