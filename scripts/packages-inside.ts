import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { build } from 'esbuild';
import { DEMO_SCRIPTS } from './demo-files.js';
import { bundleService } from './service-bundle.js';

/** What of others is in the built files themselves: in the program, in the page and in the demos. */
export interface InsidePackage {
  name: string;
  version: string;
  /** As the package says it: an SPDX expression. */
  licence: string;
  /** Its place below the root, `node_modules/…`. */
  place: string;
}

/** By name. @param written the files in the program, when it has just been bundled */
export async function packagesInside(written?: readonly string[]): Promise<InsidePackage[]> {
  const files = [...(written ?? (await bundleService('dist', false))), ...(await filesInPages())];
  const folders = new Set(files.filter((file) => /(^|[\\/])node_modules[\\/]/.test(file)).map(folderOf));
  return [...folders].map(describe).sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : 0));
}

async function filesInPages(): Promise<string[]> {
  const { metafile } = await build({
    entryPoints: ['src/client/extension/page.ts', 'src/page/main.tsx', ...DEMO_SCRIPTS],
    alias: { 'tautline/client': './src/client/index.ts' },
    bundle: true,
    format: 'esm',
    outdir: 'dist',
    write: false,
    metafile: true,
  });
  return Object.keys(metafile.inputs);
}

interface Manifest {
  name: string;
  version: string;
  license?: string;
  author?: string | { name: string };
}
const manifestOf = (folder: string): Manifest =>
  JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));

/** The nearest folder above a file whose package.json has a name and a version. */
function folderOf(file: string): string {
  for (let folder = dirname(file); folder !== dirname(folder); folder = dirname(folder)) {
    try {
      const { name, version } = manifestOf(folder);
      if (name && version) return relative('.', folder).replaceAll('\\', '/');
    } catch {
      // None here: further up.
    }
  }
  throw new Error(`${file} belongs to no package`);
}

function describe(place: string): InsidePackage {
  const { name, version, license = 'unknown' } = manifestOf(place);
  return { name, version, licence: license, place };
}

/** Every licence asks that its text goes along with the copy. */
export function noticesOf(packages: readonly InsidePackage[]): string {
  const notices = packages.map(({ name, version, licence, place }) => {
    const texts = readdirSync(place)
      .filter((file) => /^(licen[cs]e|copying|notice)/i.test(file))
      .map((file) => readFileSync(join(place, file), 'utf8').trim());
    const { author } = manifestOf(place);
    const by = typeof author === 'string' ? author : author?.name;
    if (texts.length === 0) texts.push(`Licence: ${licence}${by === undefined ? '' : `. By ${by}`}.`);
    return `${name} ${version}\n${'-'.repeat(`${name} ${version}`.length)}\n\n${texts.join('\n\n')}\n`;
  });
  return `Tautline's files hold copies of these packages, in whole or in part. Their licences:\n\n${notices.join('\n\n')}`;
}
