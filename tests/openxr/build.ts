import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import packageJson from '../../package.json' with { type: 'json' };
import { buildLayer, LINUX } from '../../scripts/openxr-layer.js';
import { need, needPackages } from '../requirements.js';

/** Paths of what was built. */
export interface Build {
  layer: string;
  manifest: string;
  runtime: string;
  driver: string;
}

const OUT = resolve('build/openxr');
const CXX = process.env.CXX ?? 'g++';
const WARNINGS = ['-Wall', '-Wextra', '-Werror', '-Wno-missing-field-initializers'];

export const SANITIZERS = {
  plain: [],
  thread: ['-fsanitize=thread', '-Wno-tsan'],
  address: ['-fsanitize=address,undefined', '-fno-sanitize-recover=all'],
} as const;
export type Sanitizer = keyof typeof SANITIZERS;

/** Sources, or those of a folder. */
function filesBelow(folder: string): string[] {
  if (/\.cpp$/.test(folder)) return [folder];
  return readdirSync(folder, { withFileTypes: true, recursive: true })
    .filter((entry) => entry.isFile() && /\.(cpp|hpp|h|map)$/.test(entry.name))
    .map((entry) => join(entry.parentPath, entry.name))
    .sort();
}

/** Of everything that goes into what is built. */
function digest(...more: string[]): string {
  const hash = createHash('sha256');
  for (const folder of ['src/openxr', 'src/client/cpp/link', ...more]) {
    for (const file of filesBelow(folder)) hash.update(file).update(readFileSync(file));
  }
  return hash.update(readFileSync('scripts/openxr-layer.ts')).digest('hex').slice(0, 16);
}

/** Builds layer, test runtime and test application, unless the same has been built before. */
export function buildAll(sanitizer: Sanitizer = 'plain'): Build {
  const folder = join(OUT, `${sanitizer}-${digest('tests/openxr/runtime', 'tests/openxr/driver.cpp')}`);
  const build: Build = {
    layer: join(folder, LINUX.library),
    manifest: join(folder, 'XrApiLayer_tautline_glove.json'),
    runtime: join(folder, 'libstrict_runtime.so'),
    driver: join(folder, 'driver'),
  };
  if (existsSync(folder)) return build;
  need(CXX, 'g++');
  needPackages('libopenxr-dev', 'libopenxr-loader1', 'openxr-layer-corevalidation', 'libvulkan-dev');
  // Made beside and moved as a whole: several test files may build at the same time.
  const part = `${folder}.${process.pid}`;
  mkdirSync(part, { recursive: true });
  const at = (path: string) => join(part, path.slice(dirname(path).length + 1));
  const flags = ['-std=c++17', '-O1', '-g', ...WARNINGS, ...SANITIZERS[sanitizer]];
  const compile = (...args: string[]) => execFileSync(CXX, [...flags, ...args], { stdio: 'inherit' });
  buildLayer(
    LINUX,
    part,
    packageJson.version,
    sanitizer === 'plain' ? ['-g'] : ['-g', '-O1', ...SANITIZERS[sanitizer]],
  );
  const sources = readdirSync('tests/openxr/runtime').filter((file) => file.endsWith('.cpp'));
  compile(
    ...['-fPIC', '-shared', '-fvisibility=hidden', '-o', at(build.runtime)],
    ...sources.map((file) => join('tests/openxr/runtime', file)),
    '-ldl',
  );
  const count = sanitizer === 'plain' ? ['-DTAUTLINE_COUNT_ALLOCATIONS'] : [];
  compile('tests/openxr/driver.cpp', ...count, '-o', at(build.driver), '-lopenxr_loader', '-ldl', '-pthread');
  try {
    renameSync(part, folder);
  } catch (error) {
    if (!existsSync(folder)) throw error;
  }
  return build;
}

/** Builds the program that throws damaged messages at the layer's readers, with address and undefined checks. */
export function buildHostile(): string {
  const program = join(OUT, `hostile-${digest('tests/openxr/hostile.cpp')}`);
  if (existsSync(program)) return program;
  mkdirSync(OUT, { recursive: true });
  const sources = [
    'tests/openxr/hostile.cpp',
    'src/openxr/link.cpp',
    'src/openxr/messages.cpp',
    'src/openxr/program.cpp',
    'src/openxr/report.cpp',
    'src/openxr/hand-sample.cpp',
  ];
  const flags = ['-std=c++17', '-O1', '-g', ...WARNINGS, ...SANITIZERS.address];
  const part = `${program}.${process.pid}`;
  execFileSync(CXX, [...flags, ...sources, '-o', part, '-pthread'], { stdio: 'inherit' });
  renameSync(part, program);
  return program;
}
