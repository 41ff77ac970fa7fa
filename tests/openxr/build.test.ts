import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import packageJson from '../../package.json' with { type: 'json' };
import { buildLayer, LINUX } from '../../scripts/openxr-layer.js';

let folder: string;
let library: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'tautline-layer-'));
  library = buildLayer(LINUX, join(folder, 'one'), packageJson.version);
}, 1_200_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('is the same, bit by bit, when it is built again elsewhere', () => {
  const again = buildLayer(LINUX, join(folder, 'another', 'place'), packageJson.version);
  expect(readFileSync(again).equals(readFileSync(library))).toBe(true);
  const manifest = (path: string) =>
    readFileSync(join(dirname(path), 'XrApiLayer_tautline_glove.json'), 'utf8');
  expect(manifest(again)).toBe(manifest(library));
}, 1_200_000);

it('exports the negotiation and nothing else', () => {
  const names = execFileSync('nm', ['--dynamic', '--defined-only', library], { encoding: 'utf8' });
  expect(
    names
      .trim()
      .split('\n')
      .map((line) => line.split(' ').at(-1)),
  ).toEqual(['xrNegotiateLoaderApiLayerInterface']);
});

it('needs no C++ library of the application’s, and is small', () => {
  const needed = execFileSync('readelf', ['--dynamic', library], { encoding: 'utf8' });
  const libraries = [...needed.matchAll(/NEEDED.*\[(.*)\]/g)].map(([, name]) => name);
  for (const name of libraries) expect(name).toMatch(/^(libc|libm|libpthread|ld-linux-x86-64)\.so/);
  expect(statSync(library).size).toBeLessThan(400 * 1024);
});

it('says in its manifest what the standard wants, and where the library is, beside it', () => {
  const { api_layer: layer, file_format_version } = JSON.parse(
    readFileSync(join(dirname(library), 'XrApiLayer_tautline_glove.json'), 'utf8'),
  );
  expect(file_format_version).toBe('1.0.0');
  expect(layer).toMatchObject({ name: 'XR_APILAYER_TAUTLINE_glove', api_version: '1.0' });
  expect(layer.library_path).toBe(`./${LINUX.library}`);
  // Without it the loader refuses an implicit layer; the specification wants it to vary with the version.
  const [major, minor] = packageJson.version.split('.');
  expect(layer.disable_environment).toBe(`TAUTLINE_OPENXR_OFF_${major}_${minor}`);
  expect(readFileSync('docs/openxr.md', 'utf8')).toContain(`${layer.disable_environment}=1 `);
});
