import { readdir, readFile } from 'node:fs/promises';
import { homedir } from 'node:os';
import { posix, win32 } from 'node:path';
import { packageFile } from '../package-files.js';
import { type BuiltFor, libraryBuiltFor } from './openxr-library.js';
import {
  MACHINE_KEY,
  type RunProgram,
  readValue,
  readValues,
  runProgram,
  USER_KEY,
} from './openxr-registry.js';

/**
 * What the OpenXR loader knows of the layer. An implicit layer is one that every application gets: its manifest lies in a
 * folder that the loader searches (Linux), or is named by a registry value (Windows). Nothing is changed from here: see
 * openxr-steps.ts.
 */

export const LAYER_NAME = 'XR_APILAYER_TAUTLINE_glove';
export const MANIFEST = 'XrApiLayer_tautline_glove.json';
/** Below the data folders (loader document of OpenXR, "Linux Manifest Search Paths"). */
export const IMPLICIT = 'openxr/1/api_layers/implicit.d';

/** The machine, as far as it matters; every part can stand in for a test's. */
export interface OpenxrSystem {
  platform: NodeJS.Platform;
  arch: string;
  env: NodeJS.ProcessEnv;
  home: string;
  run: RunProgram;
  /** Of this program: folder with the library and its manifest. */
  layerFolder: string;
}

export function openxrSystem(change: Partial<OpenxrSystem> = {}): OpenxrSystem {
  const { platform = process.platform, arch = process.arch } = change;
  return {
    platform,
    arch,
    env: process.env,
    home: homedir(),
    run: runProgram,
    layerFolder: packageFile(`dist/openxr/${platform}-${arch}`),
    ...change,
  };
}

/** One registration of a layer of our name. */
export interface LayerEntry {
  /** Path of the manifest. */
  manifest: string;
  /** For this user alone; `on` writes it and `off` removes it. */
  ours: boolean;
  /** Path of the library, as the loader makes it out. */
  library?: string;
  /** It is the library of this program. */
  current: boolean;
  /** Why the loader cannot load it, and what to do. */
  problem?: string;
}

export interface Registration {
  /** Whether there is a layer for this machine at all. */
  supported: boolean;
  /** What is wrong with the files that `on` would register; undefined: nothing. */
  filesProblem?: string;
  /** In the order in which the loader finds them. */
  entries: LayerEntry[];
  /** Variable of this command's environment that turns the layer off. */
  disabledBy?: string;
  /** The variable that does so for one program. */
  disableVariable?: string;
  /** The loader loads the layer of this program for applications that are started from here. */
  loads: boolean;
  /** What is wrong, one line each, with what to do. */
  problems: string[];
}

interface ManifestFile {
  api_layer?: { name?: string; library_path?: string; disable_environment?: string };
}

const SUPPORTED = ['linux-x64', 'win32-x64'];
export const isSupported = ({ platform, arch }: OpenxrSystem): boolean =>
  SUPPORTED.includes(`${platform}-${arch}`);

/** The manifest beside the library. */
export const manifestOf = (system: OpenxrSystem): string =>
  pathsOf(system).join(system.layerFolder, MANIFEST);

/** The paths of files here: those of a test on another system are that system's. */
const pathsOf = ({ platform }: OpenxrSystem) =>
  platform === 'win32' && process.platform === 'win32' ? win32 : posix;

/** Folders in the loader's order; the last one is this user's. A program with raised privileges passes over that. */
export function searchedFolders({ env, home }: OpenxrSystem): string[] {
  const list = (value: string | undefined, usual: string) => (value || usual).split(':').filter(Boolean);
  const own = env.XDG_DATA_HOME || posix.join(home, '.local', 'share');
  const all = [
    ...list(env.XDG_CONFIG_DIRS, '/etc/xdg'),
    '/etc',
    ...list(env.XDG_DATA_DIRS, '/usr/local/share:/usr/share'),
    own,
  ];
  // A folder that is searched twice counts where it is found first, but ours stays ours.
  return [...new Set(all.map((folder) => posix.join(folder, IMPLICIT)))];
}

export const userFolder = ({ env, home }: OpenxrSystem): string =>
  posix.join(env.XDG_DATA_HOME || posix.join(home, '.local', 'share'), IMPLICIT);

/** Looks at what is registered. Never throws: what cannot be read is a problem of its entry. */
export async function readRegistration(system: OpenxrSystem = openxrSystem()): Promise<Registration> {
  const supported = isSupported(system);
  if (!supported) {
    const problem = `There is no OpenXR layer for ${system.platform}-${system.arch}; there is one for ${SUPPORTED.join(' and ')}.`;
    return { supported, entries: [], loads: false, problems: [problem] };
  }
  const own = await readManifest(manifestOf(system), system);
  const { problem: filesProblem } = own;
  const found = system.platform === 'win32' ? inRegistry(system) : await inFolders(system);
  const entries: LayerEntry[] = [];
  for (const { manifest, ours, off } of found) {
    const read = await readManifest(manifest, system);
    if (read.name !== undefined ? read.name !== LAYER_NAME : !manifest.endsWith(MANIFEST)) continue;
    const problem = off
      ? `${manifest} is registered with a value that turns it off. \`tautline openxr on\` writes it again.`
      : read.problem;
    entries.push({
      manifest,
      ours,
      current: read.library !== undefined && own.library !== undefined && read.library === own.library,
      ...(read.library === undefined ? {} : { library: read.library }),
      ...(problem === undefined ? {} : { problem }),
    });
  }
  const disableVariable = own.disableVariable;
  const isOff = disableVariable !== undefined && (system.env[disableVariable] ?? '') !== '';
  const problems = problemsOf(entries, filesProblem, isOff ? disableVariable : undefined);
  return {
    supported,
    entries,
    ...(filesProblem === undefined ? {} : { filesProblem }),
    ...(disableVariable === undefined ? {} : { disableVariable }),
    ...(isOff ? { disabledBy: disableVariable } : {}),
    loads: !isOff && entries.length > 0 && entries[0].problem === undefined && entries[0].current,
    problems,
  };
}

function problemsOf(
  entries: readonly LayerEntry[],
  filesProblem: string | undefined,
  disabledBy: string | undefined,
): string[] {
  const problems: string[] = [];
  if (filesProblem !== undefined) problems.push(filesProblem);
  for (const { problem } of entries) {
    if (problem !== undefined && !problems.includes(problem)) problems.push(problem);
  }
  const [first] = entries;
  if (first && !first.current && first.problem === undefined) {
    problems.push(
      first.ours
        ? `${first.manifest} names the layer of another installation, ${first.library}. \`tautline openxr on\` names this one.`
        : `${first.manifest} comes first, with the layer of another installation, ${first.library}. Remove it to use this one.`,
    );
  }
  const others = entries.slice(1).filter(({ problem }) => problem === undefined);
  for (const { manifest } of others) {
    problems.push(
      `${manifest} registers the same layer once more. Remove one of the two: \`tautline openxr off\` removes yours.`,
    );
  }
  if (disabledBy !== undefined) {
    problems.push(
      `${disabledBy} is set here: programs started from here go without the layer. Unset it to have it.`,
    );
  }
  return problems;
}

interface Found {
  manifest: string;
  ours: boolean;
  /** Registered, and turned off. */
  off?: boolean;
}

async function inFolders(system: OpenxrSystem): Promise<Found[]> {
  const own = userFolder(system);
  const found: Found[] = [];
  for (const folder of searchedFolders(system)) {
    const names = await readdir(folder).catch(() => []);
    for (const name of names.filter((each) => each.endsWith('.json')).sort()) {
      found.push({ manifest: posix.join(folder, name), ours: folder === own });
    }
  }
  return found;
}

/** The loader reads the machine's key first (loader of the standard's makers, 1.0.20). */
function inRegistry(system: OpenxrSystem): Found[] {
  const { run } = system;
  const named = ({ name }: { name: string }) => name.endsWith(MANIFEST);
  const found = [
    ...readValues(run, MACHINE_KEY)
      .filter(named)
      .map(({ name, data }) => ({ manifest: name, ours: false, off: data !== 0 })),
    ...readValues(run, USER_KEY)
      .filter(named)
      .map(({ name, data }) => ({ manifest: name, ours: true, off: data !== 0 })),
  ];
  const own = manifestOf(system);
  if (found.some(({ manifest, ours }) => ours && manifest === own)) return found;
  const data = readValue(run, USER_KEY, own);
  if (data === undefined) return found;
  // Its letters were not those of the code page in which the list was printed.
  return [...found.filter(({ ours }) => !ours), { manifest: own, ours: true, off: data !== 0 }];
}

interface ReadManifest {
  name?: string;
  library?: string;
  disableVariable?: string;
  problem?: string;
}

async function readManifest(path: string, system: OpenxrSystem): Promise<ReadManifest> {
  const again =
    path === manifestOf(system) ? 'Install the program again.' : '`tautline openxr on` writes it again.';
  let data: ManifestFile;
  try {
    data = JSON.parse(await readFile(path, 'utf8')) as ManifestFile;
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    const why =
      code === undefined ? 'is not JSON' : code === 'ENOENT' ? 'is not there' : `cannot be read (${code})`;
    return { problem: `${path} ${why}. ${again}` };
  }
  const { name, library_path: given, disable_environment: disableVariable } = data?.api_layer ?? {};
  const read = {
    ...(name === undefined ? {} : { name }),
    ...(disableVariable === undefined ? {} : { disableVariable }),
  };
  if (typeof given !== 'string') return { ...read, problem: `${path} names no library. ${again}` };
  const paths = pathsOf(system);
  // What has no separator is looked for by the system.
  const library = paths.isAbsolute(given) ? given : paths.join(paths.dirname(path), given);
  const built = await libraryBuiltFor(library);
  const problem = libraryProblem(library, built, `${system.platform}-${system.arch}`, again);
  return { ...read, library, ...(problem === undefined ? {} : { problem }) };
}

function libraryProblem(
  library: string,
  built: BuiltFor | undefined,
  wanted: string,
  remedy: string,
): string | undefined {
  if (built === undefined) return `${library} is not there, or may not be read. ${remedy}`;
  if (built === wanted) return undefined;
  return `${library} is built for ${built === 'unknown' ? 'something else' : built}, this machine is ${wanted}. ${remedy}`;
}
