import type { StripChart } from './strip-chart.js';

/** What a strip chart is drawn on. What it shows stands beside it in words. */
export const StripCanvas = ({ chart }: { chart: StripChart }) => (
  // biome-ignore lint/a11y/noAriaHiddenOnFocusable: a canvas takes no focus by itself
  <canvas class="chart" aria-hidden="true" ref={chart.attach} />
);
