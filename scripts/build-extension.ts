import { copyFileSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { deflateSync } from 'node:zlib';
import { build } from 'esbuild';
import packageJson from '../package.json' with { type: 'json' };
import { crc32 } from '../src/mcap/crc32.js';

/** Bundles the browser extension of src/client/extension/ into dist/extension/: load that folder as it is. */
const FROM = 'src/client/extension';
const OUT = 'dist/extension';

rmSync(OUT, { recursive: true, force: true });
mkdirSync(OUT, { recursive: true });
const common = {
  outdir: OUT,
  bundle: true,
  minify: true,
  target: 'chrome120',
  legalComments: 'none',
  logLevel: 'warning',
} as const;
// These are no modules; each is a scope of its own.
await build({
  ...common,
  entryPoints: [`${FROM}/page.ts`, `${FROM}/bridge.ts`, `${FROM}/worker.ts`],
  format: 'iife',
});
await build({
  ...common,
  entryPoints: [`${FROM}/popup.ts`, `${FROM}/pairing.ts`, `${FROM}/window.css`],
  format: 'esm',
});
for (const name of ['popup.html', 'pairing.html']) copyFileSync(join(FROM, name), join(OUT, name));
const manifest = JSON.parse(readFileSync(join(FROM, 'manifest.json'), 'utf8')) as object;
// A browser takes numbers alone: a pre-release is told apart by its folder.
const version = packageJson.version.replace(/-.*/, '');
writeFileSync(join(OUT, 'manifest.json'), `${JSON.stringify({ ...manifest, version }, undefined, 2)}\n`);
for (const size of [16, 48, 128]) writeFileSync(join(OUT, `icon-${size}.png`), icon(size));

/** The sign of the extension: a taut string through a ring, as a PNG. */
function icon(size: number): Buffer {
  const samples = 4;
  const rows = Buffer.alloc(size * (1 + size * 4));
  for (let y = 0; y < size; y++) {
    for (let x = 0; x < size; x++) {
      let covered = 0;
      for (let s = 0; s < samples ** 2; s++) {
        const u = (x + ((s % samples) + 0.5) / samples) / size - 0.5;
        const v = (y + (Math.floor(s / samples) + 0.5) / samples) / size - 0.5;
        const ring = Math.abs(Math.hypot(u, v) - 0.29) < 0.085;
        const string = Math.abs(u + v) < 0.085 && Math.abs(u - v) < 0.95;
        if (ring || string) covered++;
      }
      const at = y * (1 + size * 4) + 1 + x * 4;
      rows.set([0xb8, 0x54, 0x1e, Math.round((255 * covered) / samples ** 2)], at);
    }
  }
  const chunk = (type: string, data: Buffer): Buffer => {
    const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
    const out = Buffer.alloc(8 + body.length);
    out.writeUInt32BE(data.length, 0);
    body.copy(out, 4);
    out.writeUInt32BE(crc32(body), 4 + body.length);
    return out;
  };
  const head = Buffer.alloc(13);
  head.writeUInt32BE(size, 0);
  head.writeUInt32BE(size, 4);
  // Eight bits a channel, colour with transparency.
  head.set([8, 6, 0, 0, 0], 8);
  return Buffer.concat([
    Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]),
    chunk('IHDR', head),
    chunk('IDAT', deflateSync(rows, { level: 9 })),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}
