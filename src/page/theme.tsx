import { signal } from '@preact/signals';

type Theme = 'light' | 'dark';

const KEY = 'tautline.theme';
const systemDark = matchMedia('(prefers-color-scheme: dark)');

const isDark = (): boolean => {
  const chosen = document.documentElement.dataset.theme;
  return chosen === undefined ? systemDark.matches : chosen === 'dark';
};
const shown = (): Theme => (isDark() ? 'dark' : 'light');

/** The colours that are shown: those of the system, until the other ones are chosen. */
export const theme = signal<Theme>(shown());

/** Colours changed. */
export const themeChanged = {
  /** @returns removes the listener */
  on(listener: () => void): () => void {
    let begun = false;
    const stop = theme.subscribe(() => {
      if (begun) listener();
    });
    begun = true;
    return stop;
  },
};

function look(): void {
  known.clear();
  theme.value = shown();
}
systemDark.addEventListener('change', look);

/** As they were chosen in this browser. */
export function restoreTheme(): void {
  const kept = localStorage.getItem(KEY);
  if (kept === 'light' || kept === 'dark') document.documentElement.dataset.theme = kept;
  look();
}

function choose(chosen: Theme): void {
  document.documentElement.dataset.theme = chosen;
  localStorage.setItem(KEY, chosen);
  look();
}

/** A button that goes from the system's choice to the other one, and back. */
export function ThemeButton() {
  const other = theme.value === 'dark' ? 'light' : 'dark';
  const name = other === 'light' ? 'Light' : 'Dark';
  return (
    <button
      type="button"
      class="quiet theme"
      aria-label={`${name} colours`}
      onClick={() => {
        choose(other);
      }}
    >
      {name}
    </button>
  );
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
