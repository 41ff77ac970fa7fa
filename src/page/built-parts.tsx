import { render } from 'preact';
import { createDelays } from './delays.js';
import { Failed } from './guarded.js';
import type { Live } from './live.js';
import type { Lead, OpenPlot, Part } from './part.js';
import { PARTS, type PartEntry } from './part-list.js';
import { createPanel } from './part-panel.js';
import { createAppsPart } from './parts/apps.js';
import { createBenchPart } from './parts/bench.js';
import { createGuidePart } from './parts/guide.js';
import { createSessionsPart } from './parts/sessions.js';
import { createSignalsPart } from './parts/signals.js';
import { createTouchPart } from './parts/touch.js';
import { createHandsOnStage } from './scene/hands.js';
import type { View } from './scene/orbit.js';
import { createStage } from './scene/stage.js';

/** The picture, and the parts in the order of `PARTS`. */
export interface BuiltParts {
  readonly parts: readonly Part[];
  look(from: View): void;
}

/**
 * @param picture where the hands are drawn
 * @param go shows a part
 */
export function buildParts(
  live: Live,
  picture: HTMLElement,
  go: (name: PartEntry['name'], focus?: boolean) => void,
): BuiltParts {
  const scene = createScene(live, picture);
  const delays = createDelays(live);
  const signals = attempt('signals', () => createSignalsPart(live, delays));
  const guide = attempt('fit', () => createGuidePart(live));
  const openPlot: OpenPlot = (side, role) => {
    if ('plot' in signals) signals.plot(side, role);
    go('signals', true);
  };
  const lead: Lead = (to, side) => {
    go('fit');
    if ('lead' in guide) guide.lead(to, side);
  };
  const built: Record<PartEntry['name'], Part> = {
    bench: attempt('bench', () => createBenchPart(live, delays, openPlot, lead)),
    signals,
    fit: guide,
    touch: attempt('touch', () => {
      if ('error' in scene) throw scene.error;
      return createTouchPart(live, scene.stage, scene.hands, lead);
    }),
    sessions: attempt('sessions', () => createSessionsPart(live)),
    apps: attempt('apps', () => createAppsPart(live)),
  };
  return {
    parts: PARTS.map(({ name }) => built[name]),
    look(from) {
      if ('error' in scene) return;
      scene.stage.view(from);
      scene.hands.arrange();
    },
  };
}

/** The picture, or why there is none: most parts do without. */
function createScene(live: Live, picture: HTMLElement) {
  try {
    const stage = createStage(picture);
    return { stage, hands: createHandsOnStage(live, stage) };
  } catch (error) {
    reportError(error);
    // What there is of it already.
    picture.replaceChildren();
    render(<Failed what="The picture" error={error} />, picture);
    return { error };
  }
}

/** The part, or why there is none: the others are there all the same. */
function attempt<T extends Part>(name: PartEntry['name'], make: () => T): T | Part {
  try {
    return make();
  } catch (error) {
    reportError(error);
    const label = PARTS.find((part) => part.name === name)?.label ?? name;
    return { panel: createPanel(name, label, <Failed what={label} error={error} />) };
  }
}
