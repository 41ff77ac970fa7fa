import { readdirSync } from 'node:fs';
import { basename } from 'node:path';

/** The demos are the pages of this folder, but for the one that lists them; each has a script of its name. */
export const DEMOS_FOLDER = 'src/client/demos';

export const DEMO_PAGES: readonly string[] = readdirSync(DEMOS_FOLDER).filter((name) =>
  name.endsWith('.html'),
);
export const DEMO_NAMES: readonly string[] = DEMO_PAGES.map((name) => basename(name, '.html')).filter(
  (name) => name !== 'index',
);
export const DEMO_SCRIPTS: readonly string[] = DEMO_NAMES.map((name) => `${DEMOS_FOLDER}/${name}.js`);
