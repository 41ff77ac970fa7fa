import { type ReadonlySignal, signal } from '@preact/signals';
import type { RefObject } from 'preact';
import { ask } from '../routes.js';
import { everyWhileSeen } from '../seen.js';
import { Choice } from './choice.js';
import { clockText } from './words.js';

/** What the service says of the session that is shown in place of the glove. */
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
type Speed = (typeof SPEEDS)[number]['value'];

/** The session that is shown in place of the glove: where it is, and what can be asked of it. */
export interface Player {
  /** Undefined: the glove itself is shown. */
  readonly state: ReadonlySignal<PlayerState | undefined>;
  readonly name: ReadonlySignal<string>;
  /** Where it is, or is to go: the newest place that was asked for. */
  readonly atS: ReadonlySignal<number>;
  readonly speed: ReadonlySignal<Speed>;
  /** What the list of sessions says of it. */
  update(state: (PlayerState & { name?: string }) | undefined): void;
  toggle(): void;
  go(speed: Speed): void;
  /** The scrubber is drawn there, and then let go. */
  seek(toS: number): void;
  letGo(): void;
  close(): void;
  show(shown: boolean): void;
}

/**
 * @param act does something, says what the service has against it, and reads the list of sessions again
 * @param closed the glove is shown again
 */
export function createPlayer(act: (doing: Promise<unknown>) => Promise<void>, closed: () => void): Player {
  const state = signal<PlayerState | undefined>(undefined);
  const name = signal('');
  const atS = signal(0);
  const speed = signal<Speed>('1');
  let open = false;
  /** Asked to end, and not yet known to have. */
  let closing = false;
  let scrubbing = false;
  let seeking = false;
  /** The newest place asked for, while an older one is on its way. */
  let wantedS: number | undefined;
  let rest = () => {};

  const update: Player['update'] = (now) => {
    // An answer from before the end says nothing of now.
    if (closing && now !== undefined) return;
    open = now !== undefined;
    state.value = now;
    if (now?.name !== undefined) name.value = now.name.replace(/\.mcap$/, '');
    if (now && !scrubbing && !seeking) atS.value = now.positionS;
  };
  const askFor = (method: 'GET' | 'POST', path: string) =>
    void ask<PlayerState>(method, path).then(
      (now) => {
        if (open) update(now);
      },
      () => {},
    );

  async function seekAll(): Promise<void> {
    seeking = true;
    while (wantedS !== undefined) {
      const toS = wantedS;
      wantedS = undefined;
      await ask<PlayerState>('POST', `/replay/seek?to=${toS}`).catch(() => {});
    }
    seeking = false;
  }

  return {
    state,
    name,
    atS,
    speed,
    update,
    toggle: () => askFor('POST', state.peek()?.playing ? '/replay/pause' : '/replay/play'),
    go(now) {
      speed.value = now;
      askFor('POST', `/replay/speed?speed=${now}`);
    },
    seek(toS) {
      scrubbing = true;
      wantedS = toS;
      atS.value = toS;
      if (!seeking) void seekAll();
    },
    letGo() {
      scrubbing = false;
    },
    close() {
      // Nothing more is asked of a session that ends.
      open = false;
      closing = true;
      const closedNow = ask('POST', '/replay/close').finally(() => {
        closing = false;
      });
      void act(closedNow).then(closed);
    },
    show(shown) {
      rest();
      rest = shown
        ? everyWhileSeen(PERIOD_MS, () => {
            if (open) askFor('GET', '/replay');
          })
        : () => {};
    },
  };
}

/** Scrubber, pause, speed. @param toggle the button to pause and go on */
export function PlayerCard({
  player,
  toggle,
}: {
  player: Player;
  toggle: RefObject<HTMLButtonElement | null>;
}) {
  const { playing = false } = player.state.value ?? {};
  return (
    <div class="card player" hidden={player.state.value === undefined}>
      <h3>{`Shown now: ${player.name.value}`}</h3>
      <Scrubber player={player} />
      <div class="actions">
        <button type="button" ref={toggle} onClick={player.toggle}>
          {playing ? 'Pause' : 'Play'}
        </button>
        <button type="button" class="main" onClick={player.close}>
          Back to the glove
        </button>
      </div>
      <Choice legend="Speed" options={SPEEDS} chosen={player.speed.value} choose={player.go} />
    </div>
  );
}

function Scrubber({ player }: { player: Player }) {
  const ofS = player.state.value?.durationS ?? 0;
  const text = `${clockText(player.atS.value)} of ${clockText(ofS)}`;
  return (
    <div class="slider">
      <label for="scrubber">Position</label>
      <output for="scrubber">{text}</output>
      <input
        type="range"
        id="scrubber"
        min={0}
        max={ofS.toFixed(2)}
        step={STEP_S}
        aria-valuetext={text}
        value={player.atS.value}
        onInput={({ currentTarget }) => player.seek(Number(currentTarget.value))}
        onChange={player.letGo}
      />
    </div>
  );
}
