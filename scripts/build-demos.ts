import { build } from 'esbuild';
import { DEMO_PAGES, DEMO_SCRIPTS, DEMOS_FOLDER } from './demo-files.js';

/** Bundles the demos into dist/demos/, and the client library as the one file that pages without a build load. */
const common = {
  outdir: 'dist/demos',
  bundle: true,
  minify: true,
  format: 'esm',
  target: 'es2022',
  alias: { 'tautline/client': './src/client/index.ts' },
  loader: { '.html': 'copy' },
  entryNames: '[name]',
  logLevel: 'warning',
} as const;

await build({ ...common, entryPoints: { 'tautline-client': 'src/client/index.ts' } });
await build({
  ...common,
  entryPoints: [
    ...DEMO_SCRIPTS,
    ...DEMO_PAGES.map((name) => `${DEMOS_FOLDER}/${name}`),
    `${DEMOS_FOLDER}/style.css`,
  ],
  // What draws the hands is most of it, and the same for all.
  splitting: true,
  chunkNames: 'shared-[hash]',
});
