import { button, make, setAttribute, setText } from '../dom.js';
import { ask } from '../routes.js';
import { everyWhileSeen } from '../seen.js';
import { choice } from './controls.js';
import { clockText } from './words.js';

export interface PlayerState {
  positionS: number;
  durationS: number;
  /** null: as fast as it goes. */
  speed: number | null;
  playing: boolean;
  ended: boolean;
}

const PERIOD_MS = 200;
/** A session that is shorter than this is scrubbed finer. */
const STEP_S = 0.05;
const SPEEDS = [
  { value: '0.25', label: '¼ ×' },
  { value: '1', label: '1 ×' },
  { value: '5', label: '5 ×' },
  { value: '20', label: '20 ×' },
] as const;

/** The session that is shown in place of the glove: scrubber, pause, speed. */
export interface PlayerCard {
  readonly element: HTMLElement;
  update(state: (PlayerState & { name?: string }) | undefined): void;
  show(shown: boolean): void;
  focus(): void;
}

/** @param closed the glove is shown again */
export function createPlayerCard(
  act: (doing: Promise<unknown>) => Promise<void>,
  closed: () => void,
): PlayerCard {
  const title = make('h3');
  const position = make('output', { for: 'scrubber' });
  const scrubber = make('input', { type: 'range', id: 'scrubber', min: 0, step: STEP_S, value: 0 });
  let playing = false;
  let scrubbing = false;
  let open = false;
  /** Asked to end, and not yet known to have. */
  let closing = false;
  let rest = () => {};
  /** The newest place asked for, while an older one is on its way. */
  let wanted: number | undefined;
  let seeking = false;

  const toggle = button('Pause', () => {
    void ask<PlayerState>('POST', playing ? '/replay/pause' : '/replay/play').then(update, () => {});
  });
  const speeds = choice('Speed', SPEEDS, '1', (speed) => {
    void ask<PlayerState>('POST', `/replay/speed?speed=${speed}`).then(update, () => {});
  });
  const close = button(
    'Back to the glove',
    () => {
      // Nothing more is asked of a session that ends.
      open = false;
      closing = true;
      const closedNow = ask('POST', '/replay/close').finally(() => {
        closing = false;
      });
      void act(closedNow).then(closed);
    },
    { class: 'main' },
  );
  const element = make(
    'div',
    { class: 'card player', hidden: true },
    title,
    make('div', { class: 'slider' }, make('label', { for: 'scrubber' }, 'Position'), position, scrubber),
    make('div', { class: 'actions' }, toggle, close),
    speeds,
  );

  async function seek(): Promise<void> {
    seeking = true;
    while (wanted !== undefined) {
      const to = wanted;
      wanted = undefined;
      await ask<PlayerState>('POST', `/replay/seek?to=${to}`).catch(() => {});
    }
    seeking = false;
  }
  scrubber.addEventListener('input', () => {
    scrubbing = true;
    wanted = Number(scrubber.value);
    say(wanted, Number(scrubber.max));
    if (!seeking) void seek();
  });
  scrubber.addEventListener('change', () => {
    scrubbing = false;
  });
  const say = (atS: number, ofS: number) => {
    const text = `${clockText(atS)} of ${clockText(ofS)}`;
    setText(position, text);
    setAttribute(scrubber, 'aria-valuetext', text);
  };

  function update(state: (PlayerState & { name?: string }) | undefined): void {
    // An answer from before the end says nothing of now.
    if (closing && state !== undefined) return;
    open = state !== undefined;
    element.hidden = !open;
    if (!state) return;
    playing = state.playing;
    if (state.name !== undefined) setText(title, `Shown now: ${state.name.replace(/\.mcap$/, '')}`);
    setText(toggle, playing ? 'Pause' : 'Play');
    setAttribute(scrubber, 'max', state.durationS.toFixed(2));
    if (scrubbing || seeking) return;
    scrubber.value = String(state.positionS);
    say(state.positionS, state.durationS);
  }

  return {
    element,
    update,
    focus: () => toggle.focus(),
    show(shown) {
      rest();
      if (!shown) return;
      rest = everyWhileSeen(PERIOD_MS, () => {
        if (!open) return;
        void ask<PlayerState>('GET', '/replay').then(
          (state) => {
            if (open) update(state);
          },
          () => {},
        );
      });
    },
  };
}
