import { useComputed } from '@preact/signals';
import { useState } from 'preact/hooks';
import type { HandSide } from '../../hand/joints.js';
import { Plot } from './plot.js';
import { saveCsv, savePng } from './plot-files.js';
import { PlotLines } from './plot-lines.js';
import type { PlotState } from './plot-state.js';
import { PLOT_VIEWS, type PlotView, VIEW_NAME } from './plot-views.js';
import { PlotWords } from './plot-words.js';
import { sideText } from './words.js';

const SPANS = [2, 5, 10, 30, 60].map((s) => ({ value: String(s), label: `${s} s` }));
const VIEWS = PLOT_VIEWS.map((value) => ({ value, label: VIEW_NAME[value] }));

/** The instrument: what to plot, its lines, time, pause and zoom, and files of what is seen. */
export function PlotCard({ state }: { state: PlotState }) {
  const { choice, samples, chart, values, words, areWordsOpen } = state;
  return (
    <article class="card plot-card">
      <PlotBar state={state} />
      <Plot
        look={choice.look}
        samples={samples}
        chart={chart}
        chosen={state.zoomTo}
        reset={() => state.zoomTo(undefined)}
        moved={state.moved}
      />
      <PlotLines
        series={choice.series.value}
        isShown={choice.isShown}
        show={choice.showLine}
        values={values}
      />
      <PlotWords words={words} isOpen={areWordsOpen} />
    </article>
  );
}

function PlotBar({ state }: { state: PlotState }) {
  const { choice, spanS, isPaused } = state;
  const sides = useComputed(() => choice.sides.value.map((value) => ({ value, label: sideText(value) })));
  const { side, view, of, choices, toFit } = choice;
  return (
    <div class="plot-bar">
      <Field
        name="Hand"
        options={sides.value}
        value={side.value}
        hidden={sides.value.length < 2}
        choose={(one) => choice.chooseSide(one as HandSide)}
      />
      <Field
        name="Plot"
        options={VIEWS}
        value={view.value}
        choose={(one) => choice.chooseView(one as PlotView)}
      />
      <Field
        name="Of"
        options={choices.value}
        value={of.value}
        hidden={choices.value.length === 0}
        choose={choice.chooseOf}
      />
      <Field
        name="Time"
        options={SPANS}
        value={String(spanS.value)}
        choose={(one) => state.chooseSpan(Number(one))}
      />
      <button type="button" aria-pressed={isPaused.value} onClick={() => state.pause(!isPaused.value)}>
        {isPaused.value ? 'Go on' : 'Pause'}
      </button>
      <button type="button" onClick={() => state.zoomBy(0.5)}>
        Zoom in
      </button>
      <button type="button" onClick={() => state.zoomBy(2)}>
        Zoom out
      </button>
      <button type="button" onClick={() => state.zoomTo(undefined)}>
        Whole time
      </button>
      <button type="button" aria-pressed={toFit.value} onClick={() => choice.fit(!toFit.value)}>
        Scale to data
      </button>
      <SaveButtons state={state} />
    </div>
  );
}

/** Files of what is seen. */
function SaveButtons({ state: { choice, chart, samples } }: { state: PlotState }) {
  const { side, view } = choice;
  const fileName = () => `tautline-${side.value}-${view.value}`;
  const title = () => `${side.value ? sideText(side.value) : ''}: ${VIEW_NAME[view.value].toLowerCase()}`;
  return (
    <>
      <button
        type="button"
        aria-label="Save the plot as PNG"
        onClick={() => {
          if (chart.current)
            savePng(fileName(), title(), chart.current.ctx.canvas, samples.value.look.series);
        }}
      >
        PNG
      </button>
      <button
        type="button"
        aria-label="Save what is seen as CSV"
        onClick={() => saveCsv(fileName(), samples.value.look.series, samples.value.data)}
      >
        CSV
      </button>
    </>
  );
}

let fields = 0;

/** A list to choose one of, with its name in front. */
function Field({
  name,
  options,
  value,
  hidden = false,
  choose,
}: {
  name: string;
  options: readonly { value: string; label: string }[];
  value: string | undefined;
  hidden?: boolean;
  choose(value: string): void;
}) {
  const [id] = useState(() => `select${++fields}`);
  return (
    <span class="field" hidden={hidden}>
      <label for={id}>{name}</label>
      <select id={id} value={value} onChange={({ currentTarget }) => choose(currentTarget.value)}>
        {options.map((one) => (
          <option key={one.value} value={one.value}>
            {one.label}
          </option>
        ))}
      </select>
    </span>
  );
}
