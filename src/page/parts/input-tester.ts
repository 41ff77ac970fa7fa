import { button, drawing, make, setAttribute, setText } from '../dom.js';
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
const nameOf = (part: string): string => NAMES[part] ?? part.toUpperCase();
/** Radius of the stick's drawing, and of the way it can go. */
const [RADIUS, REACH] = [24, 19];

interface Bar {
  path: string;
  fill: HTMLElement;
  seen: HTMLElement;
  text: HTMLElement;
  most: number;
}
interface Lamp {
  path: string;
  element: HTMLElement;
  tried: boolean;
}

/** Stick, buttons and pulls as apps get them, and how far each has been tried since the last reset. */
export function createInputTester(): { element: HTMLElement; update(hand: LiveHand): void } {
  const body = make('div', { class: 'tester' });
  const lampList = make('ul', { class: 'lamps' });
  const element = make(
    'section',
    { class: 'inputs' },
    make('div', { class: 'heading' }, make('h4', { class: 'wide' }, 'Inputs'), lampList),
    body,
  );
  let built = '';
  let bars: Bar[] = [];
  let lamps: Lamp[] = [];
  let stick: { x: string; y: string; dot: Element; trail: Element; text: HTMLElement } | undefined;
  /** Furthest to each side: left, right, near, far. */
  const reach = [0, 0, 0, 0];

  const forget = () => {
    for (const bar of bars) bar.most = 0;
    for (const lamp of lamps) lamp.tried = false;
    reach.fill(0);
  };
  element.firstElementChild?.append(
    button('Reset', forget, { class: 'small', 'aria-label': 'Reset what was tried' }),
  );

  function build(paths: readonly string[]): void {
    const part = (path: string) => path.split('/').slice(-2);
    bars = [];
    lamps = [];
    stick = undefined;
    const barList = make('ul', { class: 'bars' });
    lampList.replaceChildren();
    for (const path of paths) {
      const [name, kind] = part(path);
      if (kind === 'value') {
        const [fill, seen] = [make('i', { class: 'fill' }), make('i', { class: 'seen' })];
        const text = make('span', { class: 'value' }, '–');
        barList.append(
          make(
            'li',
            {},
            make('span', {}, nameOf(name)),
            make('span', { class: 'gauge', 'aria-hidden': 'true' }, seen, fill),
            text,
          ),
        );
        bars.push({ path, fill, seen, text, most: 0 });
      } else if (kind === 'click' || kind === 'touch') {
        const element = make('li', { class: 'lamp' }, nameOf(name));
        lampList.append(element);
        lamps.push({ path, element, tried: false });
      }
    }
    const [x, y] = ['x', 'y'].map((axis) => paths.find((path) => path.endsWith(`thumbstick/${axis}`)));
    body.replaceChildren(barList);
    if (x === undefined || y === undefined) return;
    const svg = drawing(
      `${-RADIUS} ${-RADIUS} ${2 * RADIUS} ${2 * RADIUS}`,
      `<circle r="${REACH + 3}" class="rim"/><path d="M0 ${-REACH}V${REACH}M${-REACH} 0H${REACH}" class="cross"/><rect class="trail"/><circle r="4" class="dot"/>`,
    );
    const text = make('span', { class: 'value' }, '–');
    const [trail, dot] = [svg.querySelector('.trail'), svg.querySelector('.dot')] as Element[];
    stick = { x, y, trail, dot, text };
    body.prepend(make('div', { class: 'stick' }, svg, text));
  }

  return {
    element,
    update({ info, inputs }) {
      const key = info.inputs.join();
      if (key !== built) {
        built = key;
        build(info.inputs);
        forget();
      }
      const values = inputs?.values;
      for (const bar of bars) {
        const value = values?.[bar.path];
        const part = Number(value ?? 0);
        bar.most = Math.max(bar.most, part);
        grow(bar.fill, part);
        grow(bar.seen, bar.most);
        setText(bar.text, value === undefined ? '–' : `${Math.round(part * 100)} %`);
      }
      for (const lamp of lamps) {
        const on = Boolean(values?.[lamp.path]);
        lamp.tried ||= on;
        setAttribute(lamp.element, 'data-on', String(on));
        setAttribute(lamp.element, 'data-tried', String(lamp.tried));
        const state = on ? 'pressed' : lamp.tried ? 'was pressed' : 'not pressed yet';
        setAttribute(lamp.element, 'title', values === undefined ? 'not known' : state);
      }
      if (!stick) return;
      const [x, y] = [Number(values?.[stick.x] ?? 0), Number(values?.[stick.y] ?? 0)];
      [-x, x, -y, y].forEach((far, side) => {
        reach[side] = Math.max(reach[side], far);
      });
      setAttribute(stick.dot, 'transform', `translate(${(x * REACH).toFixed(1)} ${(-y * REACH).toFixed(1)})`);
      const [left, right, near, far] = reach.map((part) => part * REACH);
      setAttribute(stick.trail, 'x', (-left).toFixed(1));
      setAttribute(stick.trail, 'y', (-far).toFixed(1));
      setAttribute(stick.trail, 'width', (left + right).toFixed(1));
      setAttribute(stick.trail, 'height', (near + far).toFixed(1));
      setText(stick.text, values === undefined ? '–' : `${signed(x)} ${signed(y)}`);
    },
  };
}

const signed = (value: number): string => `${value < 0 ? '−' : '+'}${Math.abs(value).toFixed(2)}`;

function grow(bar: HTMLElement, part: number): void {
  const transform = `scaleX(${part.toFixed(3)})`;
  if (bar.style.transform !== transform) bar.style.transform = transform;
}
