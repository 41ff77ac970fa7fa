import { execFileSync, spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  writeFileSync,
} from 'node:fs';
import { availableParallelism } from 'node:os';
import { join, resolve } from 'node:path';
import { need } from '../tests/requirements.js';

const SOURCE = 'src/openxr';
const NAME = 'XrApiLayer_tautline_glove';
const PACKAGES = ['libopenxr-dev'];

/** A platform that the layer is built for. */
export interface Target {
  folder: string;
  compiler: string;
  library: string;
  packages: string[];
  flags: string[];
}

export const LINUX: Target = {
  folder: 'linux-x64',
  compiler: process.env.CXX ?? 'g++',
  library: `lib${NAME}.so`,
  packages: ['g++'],
  flags: [
    '-fPIC',
    '-pthread',
    `-Wl,--version-script=${SOURCE}/exports.map`,
    // The thread may run on when the loader unloads: see stay_loaded().
    '-Wl,-z,nodelete',
    '-Wl,-z,defs,-z,now,-z,relro',
    '-Wl,--build-id=none',
    '-ffunction-sections',
    '-fdata-sections',
    '-Wl,--gc-sections',
  ],
};
export const WINDOWS: Target = {
  folder: 'win32-x64',
  compiler: 'x86_64-w64-mingw32-g++-posix',
  library: `${NAME}.dll`,
  packages: ['g++-mingw-w64-x86-64-posix'],
  // The headers of OpenXR alone come from here; the compiler's own are found before.
  flags: ['-idirafter', '/usr/include', '-static', '-Wl,--no-insert-timestamp', '-Wl,--exclude-all-symbols'],
};
const WINDOWS_LIBRARIES = ['-lws2_32'];

const COMMON = [
  '-std=c++17',
  '-O2',
  '-Wall',
  '-Wextra',
  '-Wpedantic',
  '-Wshadow',
  '-Werror',
  '-fvisibility=hidden',
  '-fvisibility-inlines-hidden',
  '-fno-math-errno',
  '-static-libgcc',
  '-static-libstdc++',
  '-shared',
];

/** What the loader must know: `instance_extensions` are those that applications may enable wherever the layer is. */
export function manifest(library: string, version: string) {
  const extensions = [
    ['XR_EXT_hand_tracking', '4'],
    ['XR_EXT_hand_joints_motion_range', '1'],
    ['XR_EXT_hand_tracking_data_source', '1'],
    ['XR_EXT_hand_interaction', '2'],
  ];
  const [major, minor] = version.split('.');
  return {
    file_format_version: '1.0.0',
    api_layer: {
      name: 'XR_APILAYER_TAUTLINE_glove',
      library_path: `./${library}`,
      api_version: '1.0',
      implementation_version: '1',
      description: 'Hands, inputs and vibrations of a Tautline glove',
      instance_extensions: extensions.map(([name, extension_version]) => ({ name, extension_version })),
      // The specification wants it to vary with the version.
      disable_environment: `TAUTLINE_OPENXR_OFF_${major}_${minor}`,
    },
  };
}

/** What was built before, by all that goes into it. */
const CACHE = resolve('node_modules/.cache/tautline-openxr');
const INPUTS = [SOURCE, 'src/client/cpp/link', '/usr/include/openxr'];

/**
 * Where the outcome of a compilation is kept, or already is: sources, headers, compiler and flags are in its name.
 * @param more further files that go in
 */
export function cached(compiler: string, flags: readonly string[], more: readonly string[] = []): string {
  const hash = createHash('sha256').update(JSON.stringify(flags));
  hash.update(execFileSync(compiler, ['--version']));
  for (const folder of INPUTS) {
    for (const name of readdirSync(folder).sort()) hash.update(name).update(readFileSync(join(folder, name)));
  }
  for (const file of more) hash.update(file).update(readFileSync(file));
  mkdirSync(CACHE, { recursive: true });
  return join(CACHE, hash.digest('hex').slice(0, 24));
}

/** A compilation: what runs, what it reads from its standard input, and where its outcome goes. */
export interface Compilation {
  compiler: string;
  args: string[];
  input?: string;
  out: string;
}

interface LayerBuild {
  /** Undefined when the same was built before. */
  compilation: Compilation | undefined;
  /** Puts library and manifest where they belong. @returns path of the library */
  finish(): string;
}

function prepareLayer(target: Target, out: string, version: string, extra: string[]): LayerBuild {
  need(target.compiler, ...target.packages, ...PACKAGES);
  mkdirSync(out, { recursive: true });
  // As one unit: a quarter of the time.
  const unit = readdirSync(SOURCE)
    .filter((file) => file.endsWith('.cpp'))
    .sort()
    .map((file) => `#include "${file}"\n`)
    .join('');
  const library = join(out, target.library);
  const prefix = `-ffile-prefix-map=${resolve('.')}=.`;
  const flags = [...COMMON, `-DTAUTLINE_VERSION="${version}"`, prefix, ...target.flags, ...extra];
  const libraries = target === WINDOWS ? WINDOWS_LIBRARIES : [];
  const kept = cached(target.compiler, [...flags, ...libraries]);
  const part = `${kept}.${process.pid}`;
  const args = [...flags, '-I', SOURCE, '-x', 'c++', '-', '-o', part, ...libraries];
  const compilation = existsSync(kept)
    ? undefined
    : { compiler: target.compiler, args, input: unit, out: part };
  return {
    compilation,
    finish() {
      if (compilation) renameSync(part, kept);
      // Beside and then moved: a running application may have the old one.
      copyFileSync(kept, `${library}.${process.pid}`);
      renameSync(`${library}.${process.pid}`, library);
      const text = JSON.stringify(manifest(target.library, version), undefined, 2);
      writeFileSync(join(out, `${NAME}.json`), `${text}\n`);
      return library;
    },
  };
}

/**
 * Builds library and manifest. The same source gives the same bytes.
 * @param extra flags in place of `-s`, such as those of sanitizers
 * @returns path of the library
 */
export function buildLayer(target: Target, out: string, version: string, extra: string[] = ['-s']): string {
  const { compilation, finish } = prepareLayer(target, out, version, extra);
  if (compilation) {
    const { compiler, args, input } = compilation;
    execFileSync(compiler, args, { input, stdio: ['pipe', 'inherit', 'inherit'] });
  }
  return finish();
}

/** The same, beside other work. */
export async function buildLayerBeside(
  target: Target,
  out: string,
  version: string,
  extra: string[],
): Promise<string> {
  const { compilation, finish } = prepareLayer(target, out, version, extra);
  if (compilation) await compile(compilation);
  return finish();
}

/** Compilers that run at once. */
const MOST = availableParallelism();
let running = 0;
const waiting: (() => void)[] = [];

/** Runs a compiler when a processor is free. @throws Error when it fails; what it says goes to stderr */
export async function compile({ compiler, args, input }: Omit<Compilation, 'out'>): Promise<void> {
  if (running >= MOST) await new Promise<void>((go) => waiting.push(go));
  running++;
  try {
    const child = spawn(compiler, args, { stdio: ['pipe', 'inherit', 'inherit'] });
    child.stdin.end(input ?? '');
    const code = await new Promise((done, fail) => child.once('error', fail).once('close', done));
    if (code !== 0) throw new Error(`${compiler} ended with ${code}.`);
  } finally {
    running--;
    waiting.shift()?.();
  }
}
