import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, rmSync } from 'node:fs';
import { join, resolve } from 'node:path';
import packageJson from '../../package.json' with { type: 'json' };
import { buildLayerBeside, compile, LINUX } from '../../scripts/openxr-layer.js';
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
  // No class of ours has a virtual function.
  address: ['-fsanitize=address,undefined', '-fno-sanitize=vptr', '-fno-sanitize-recover=all'],
} as const;
export type Sanitizer = keyof typeof SANITIZERS;

/** Sources, or those of a folder. */
function filesBelow(folder: string): string[] {
  if (/\.(cpp|ts)$/.test(folder)) return [folder];
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

const manifestName = 'XrApiLayer_tautline_glove.json';

function buildIn(folder: string): Build {
  return {
    layer: join(folder, LINUX.library),
    manifest: join(folder, manifestName),
    runtime: join(folder, 'libstrict_runtime.so'),
    driver: join(folder, 'driver'),
  };
}

/** Builds layer, test runtime and test application, side by side, unless the same has been built before. */
export async function buildAllBeside(sanitizer: Sanitizer = 'plain'): Promise<Build> {
  const folder = folderOf(sanitizer);
  if (existsSync(folder)) return buildIn(folder);
  need(CXX, 'g++');
  needPackages('libopenxr-dev', 'libopenxr-loader1', 'openxr-layer-corevalidation', 'libvulkan-dev');
  // Made beside and moved as a whole: several test files may build at the same time.
  const part = `${folder}.${process.pid}`;
  mkdirSync(part, { recursive: true });
  const { runtime, driver } = buildIn(part);
  const all = SANITIZERS[sanitizer];
  // The program and the runtime are not looked at for undefined behaviour, which takes the compiler longest; but their
  // memory is, into which the layer writes.
  const flags = ['-std=c++17', '-O1', '-g1', ...WARNINGS, ...all.filter((flag) => !flag.startsWith('-fno'))];
  const theirs = flags.map((flag) => flag.replace('address,undefined', 'address'));
  const sources = readdirSync('tests/openxr/runtime').filter((file) => file.endsWith('.cpp'));
  const count = sanitizer === 'plain' ? ['-DTAUTLINE_COUNT_ALLOCATIONS'] : [];
  const libraries = ['-lopenxr_loader', '-ldl', '-pthread'];
  await Promise.all([
    buildLayerBeside(
      LINUX,
      part,
      packageJson.version,
      sanitizer === 'plain' ? ['-g'] : ['-g1', '-O1', ...SANITIZERS[sanitizer]],
    ),
    compile({
      compiler: CXX,
      args: [
        ...theirs,
        ...['-fPIC', '-shared', '-fvisibility=hidden', '-o', runtime],
        ...sources.map((file) => join('tests/openxr/runtime', file)),
        '-ldl',
      ],
    }),
    (async () => {
      await compile({
        compiler: CXX,
        args: [...theirs, '-c', 'tests/openxr/driver.cpp', ...count, '-o', `${driver}.o`],
      });
      // Whoever loads an instrumented library brings what it needs.
      await compile({ compiler: CXX, args: [...all.slice(0, 1), `${driver}.o`, '-o', driver, ...libraries] });
    })(),
  ]);
  try {
    renameSync(part, folder);
  } catch (error) {
    if (!existsSync(folder)) throw error;
  }
  return buildIn(folder);
}

const folderOf = (sanitizer: Sanitizer): string =>
  join(
    OUT,
    `${sanitizer}-${digest('tests/openxr/runtime', 'tests/openxr/driver.cpp', 'tests/openxr/build.ts')}`,
  );

/** What setup.ts or a test file has built. */
export function buildAll(sanitizer: Sanitizer = 'plain'): Build {
  const folder = folderOf(sanitizer);
  if (!existsSync(folder)) throw new Error(`${folder} has not been built: await buildAllBeside first.`);
  return buildIn(folder);
}

/** Builds the program that throws damaged messages at the layer's readers, with address and undefined checks. */
export async function buildHostile(): Promise<string> {
  const program = join(OUT, `hostile-${digest('tests/openxr/hostile.cpp', 'tests/openxr/build.ts')}`);
  if (existsSync(program)) return program;
  mkdirSync(OUT, { recursive: true });
  const part = `${program}.${process.pid}`;
  const flags = ['-std=c++17', '-O1', '-g1', ...WARNINGS, ...SANITIZERS.address, '-pthread'];
  const names = ['link', 'messages', 'hand-sample', 'program', 'report'];
  const sources = ['tests/openxr/hostile.cpp', ...names.map((name) => `src/openxr/${name}.cpp`)];
  await Promise.all(
    sources.map((source, i) =>
      compile({ compiler: CXX, args: [...flags, '-c', source, '-o', `${part}.${i}.o`] }),
    ),
  );
  const objects = sources.map((_, i) => `${part}.${i}.o`);
  await compile({ compiler: CXX, args: [...flags, ...objects, '-o', part] });
  renameSync(part, program);
  for (const object of objects) rmSync(object);
  return program;
}
