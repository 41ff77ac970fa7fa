import { batch, computed, type ReadonlySignal, signal } from '@preact/signals';
import type { LiveHand } from '../live.js';

const NAMES: Record<string, string> = {
  trigger: 'Trigger',
  squeeze: 'Squeeze',
  pinch_ext: 'Pinch',
  aim_activate_ext: 'Aim',
  grasp_ext: 'Grasp',
  thumbstick: 'Stick',
  menu: 'Menu',
  thumbrest: 'Rest',
};
const nameOf = (path: string): string => {
  const part = path.split('/').at(-2) ?? path;
  return NAMES[part] ?? part.toUpperCase();
};
const kindOf = (path: string): string | undefined => path.split('/').at(-1);
/** Radius of the stick's drawing, and of the way it can go. */
const [RADIUS, REACH] = [24, 19];

type Values = NonNullable<LiveHand['inputs']>['values'];

/** A pull: how far it is pulled, and how far it has been. */
interface Bar {
  path: string;
  text: ReadonlySignal<string>;
  fill: ReadonlySignal<string>;
  most: ReadonlySignal<string>;
  update(values: Values | undefined): void;
  forget(): void;
}
/** A button: whether it is pressed, and whether it has been. */
interface Lamp {
  path: string;
  on: ReadonlySignal<string>;
  tried: ReadonlySignal<string>;
  title: ReadonlySignal<string>;
  update(values: Values | undefined): void;
  forget(): void;
}
interface Stick {
  text: ReadonlySignal<string>;
  dot: ReadonlySignal<string>;
  /** What of its way has been gone. */
  trail: {
    x: ReadonlySignal<string>;
    y: ReadonlySignal<string>;
    wide: ReadonlySignal<string>;
    high: ReadonlySignal<string>;
  };
  update(values: Values | undefined): void;
  forget(): void;
}

/** Stick, buttons and pulls as apps get them, and how far each has been tried since the last reset. */
export interface Inputs {
  readonly bars: ReadonlySignal<readonly Bar[]>;
  readonly lamps: ReadonlySignal<readonly Lamp[]>;
  readonly stick: ReadonlySignal<Stick | undefined>;
  forget(): void;
  update(hand: Pick<LiveHand, 'info' | 'inputs'>): void;
}

export function createInputs(): Inputs {
  const bars = signal<readonly Bar[]>([]);
  const lamps = signal<readonly Lamp[]>([]);
  const stick = signal<Stick | undefined>(undefined);
  let built = '';
  const all = () => [...bars.peek(), ...lamps.peek(), ...(stick.peek() ? [stick.peek() as Stick] : [])];

  return {
    bars,
    lamps,
    stick,
    forget() {
      for (const one of all()) one.forget();
    },
    update({ info, inputs }) {
      batch(() => {
        const key = info.inputs.join();
        if (key !== built) {
          built = key;
          bars.value = info.inputs.filter((path) => kindOf(path) === 'value').map(createBar);
          lamps.value = info.inputs
            .filter((path) => ['click', 'touch'].includes(kindOf(path) ?? ''))
            .map(createLamp);
          const [x, y] = ['x', 'y'].map((axis) =>
            info.inputs.find((path) => path.endsWith(`thumbstick/${axis}`)),
          );
          stick.value = x === undefined || y === undefined ? undefined : createStick(x, y);
        }
        for (const one of all()) one.update(inputs?.values);
      });
    },
  };
}

const scale = (part: number): string => `transform: scaleX(${part.toFixed(3)})`;

function createBar(path: string): Bar {
  const value = signal<number | undefined>(undefined);
  const most = signal(0);
  return {
    path,
    text: computed(() => (value.value === undefined ? '–' : `${Math.round(value.value * 100)} %`)),
    fill: computed(() => scale(value.value ?? 0)),
    most: computed(() => scale(most.value)),
    update(values) {
      value.value = values?.[path] === undefined ? undefined : Number(values[path]);
      most.value = Math.max(most.peek(), value.peek() ?? 0);
    },
    forget() {
      most.value = 0;
    },
  };
}

function createLamp(path: string): Lamp {
  const on = signal<boolean | undefined>(undefined);
  const tried = signal(false);
  return {
    path,
    on: computed(() => String(on.value === true)),
    tried: computed(() => String(tried.value)),
    title: computed(() => {
      if (on.value === undefined) return 'not known';
      return on.value ? 'pressed' : tried.value ? 'was pressed' : 'not pressed yet';
    }),
    update(values) {
      on.value = values === undefined ? undefined : Boolean(values[path]);
      if (on.peek()) tried.value = true;
    },
    forget() {
      tried.value = false;
    },
  };
}

const px = (part: number): string => (part * REACH).toFixed(1);

function createStick(xPath: string, yPath: string): Stick {
  const known = signal(false);
  const [x, y] = [signal(0), signal(0)];
  /** Furthest to each side. */
  const [left, right, near, far] = [signal(0), signal(0), signal(0), signal(0)];
  return {
    text: computed(() => (known.value ? `${signed(x.value)} ${signed(y.value)}` : '–')),
    dot: computed(() => `translate(${px(x.value)} ${px(-y.value)})`),
    trail: {
      x: computed(() => px(-left.value)),
      y: computed(() => px(-far.value)),
      wide: computed(() => px(left.value + right.value)),
      high: computed(() => px(near.value + far.value)),
    },
    update(values) {
      known.value = values !== undefined;
      const [nowX, nowY] = [Number(values?.[xPath] ?? 0), Number(values?.[yPath] ?? 0)];
      [x.value, y.value] = [nowX, nowY];
      left.value = Math.max(left.peek(), -nowX);
      right.value = Math.max(right.peek(), nowX);
      near.value = Math.max(near.peek(), -nowY);
      far.value = Math.max(far.peek(), nowY);
    },
    forget() {
      left.value = right.value = near.value = far.value = 0;
    },
  };
}

const signed = (value: number): string => `${value < 0 ? '−' : '+'}${Math.abs(value).toFixed(2)}`;

export const InputTester = ({ inputs }: { inputs: Inputs }) => (
  <section class="inputs">
    <div class="heading">
      <h4 class="wide">Inputs</h4>
      <ul class="lamps">
        {inputs.lamps.value.map(({ path, on, tried, title }) => (
          <li key={path} class="lamp" data-on={on} data-tried={tried} title={title}>
            {nameOf(path)}
          </li>
        ))}
      </ul>
      <button type="button" class="small" aria-label="Reset what was tried" onClick={inputs.forget}>
        Reset
      </button>
    </div>
    <div class="tester">
      {inputs.stick.value && <StickDrawing stick={inputs.stick.value} />}
      <ul class="bars">
        {inputs.bars.value.map(({ path, text, fill, most }) => (
          <li key={path}>
            <span>{nameOf(path)}</span>
            <span class="gauge" aria-hidden="true">
              <i class="seen" style={most} />
              <i class="fill" style={fill} />
            </span>
            <span class="value">{text}</span>
          </li>
        ))}
      </ul>
    </div>
  </section>
);

const StickDrawing = ({ stick: { text, dot, trail } }: { stick: Stick }) => (
  <div class="stick">
    <svg viewBox={`${-RADIUS} ${-RADIUS} ${2 * RADIUS} ${2 * RADIUS}`} aria-hidden="true">
      <circle r={REACH + 3} class="rim" />
      <path d={`M0 ${-REACH}V${REACH}M${-REACH} 0H${REACH}`} class="cross" />
      <rect class="trail" x={trail.x} y={trail.y} width={trail.wide} height={trail.high} />
      <circle r="4" class="dot" transform={dot} />
    </svg>
    <span class="value">{text}</span>
  </div>
);
