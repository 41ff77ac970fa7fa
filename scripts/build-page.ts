import { copyFileSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { build } from 'esbuild';

/** Bundles the page of src/page/ into dist/page/, every file also compressed. */
const OUT = 'dist/page';

rmSync(OUT, { recursive: true, force: true });
mkdirSync(OUT, { recursive: true });
await build({
  entryPoints: ['src/page/main.tsx', 'src/page/page.css'],
  outdir: OUT,
  bundle: true,
  // What is loaded only when it is opened is a file of its own.
  splitting: true,
  chunkNames: '[name]-[hash]',
  minify: true,
  format: 'esm',
  target: 'es2022',
  legalComments: 'none',
  logLevel: 'warning',
});
copyFileSync('src/page/index.html', join(OUT, 'index.html'));
for (const name of readdirSync(OUT)) {
  writeFileSync(join(OUT, `${name}.gz`), gzipSync(readFileSync(join(OUT, name)), { level: 9 }));
}
