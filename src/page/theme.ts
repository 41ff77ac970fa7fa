import { button, setAttribute } from './dom.js';
import { createSignal } from './signal.js';

const KEY = 'tautline.theme';
const dark = matchMedia('(prefers-color-scheme: dark)');

/** Colours changed. */
export const themeChanged = createSignal<undefined>();

const isDark = (): boolean => {
  const chosen = document.documentElement.dataset.theme;
  return chosen === undefined ? dark.matches : chosen === 'dark';
};

/** A button that goes from the system's choice to the other one, and back. */
export function createThemeButton(): HTMLButtonElement {
  const root = document.documentElement;
  const kept = localStorage.getItem(KEY);
  if (kept === 'light' || kept === 'dark') root.dataset.theme = kept;
  const toggle = button('', () => {
    root.dataset.theme = isDark() ? 'light' : 'dark';
    localStorage.setItem(KEY, root.dataset.theme);
    update();
  });
  toggle.className = 'quiet theme';
  const update = () => {
    toggle.textContent = isDark() ? 'Light' : 'Dark';
    setAttribute(toggle, 'aria-label', isDark() ? 'Light colours' : 'Dark colours');
    known.clear();
    themeChanged.emit(undefined);
  };
  dark.addEventListener('change', update);
  update();
  return toggle;
}

let probe: HTMLElement | undefined;
const known = new Map<string, string>();

/** A colour of the page's style, for what is not drawn by style: `--tracked` -> `rgb(…)`. */
export function colourOf(name: `--${string}`): string {
  if (!probe) {
    probe = document.createElement('span');
    probe.hidden = true;
    document.body.append(probe);
  }
  let colour = known.get(name);
  if (colour === undefined) {
    probe.style.color = `var(${name})`;
    colour = getComputedStyle(probe).color;
    known.set(name, colour);
  }
  return colour;
}
