import { readFile } from 'node:fs/promises';
import { posix } from 'node:path';
import { TautlineError } from '../errors.js';
import {
  isSupported,
  MANIFEST,
  manifestOf,
  type OpenxrSystem,
  type Registration,
  userFolder,
} from './openxr-registration.js';
import { addValue, deleteKey, deleteValue, emptyKeys, USER_KEY } from './openxr-registry.js';
import type { Step } from './plan.js';

/** What `tautline openxr on` and `off` do, as steps that can be shown before they are carried out. */

/**
 * Registers the layer for this user. Twice is the same as once.
 * @throws TautlineError notSupported, fileNotFound
 */
export async function registerSteps(system: OpenxrSystem, now: Registration): Promise<Step[]> {
  if (!isSupported(system)) throw new TautlineError('notSupported', now.problems[0]);
  const manifest = manifestOf(system);
  if (/[\\/](_npx|\.npx)[\\/]/.test(manifest)) {
    throw new TautlineError(
      'notSupported',
      `${manifest} lies in a cache that npx clears.`,
      'Install the program for good first, with npm install --global.',
    );
  }
  if (now.filesProblem !== undefined) {
    throw new TautlineError(
      'fileNotFound',
      now.filesProblem.replace(/ Install the program again\.$/, ''),
      'Install the program again; in its sources, npm run build:openxr.',
    );
  }
  if (system.platform === 'win32') {
    const stale = now.entries.filter((entry) => entry.ours && entry.manifest !== manifest);
    return [
      ...stale.map((entry) => reg(deleteValue(USER_KEY, entry.manifest))),
      reg(addValue(USER_KEY, manifest)),
    ];
  }
  const folder = userFolder(system);
  const path = posix.join(folder, MANIFEST);
  const data = JSON.parse(await readFile(manifest, 'utf8')) as { api_layer: { library_path: string } };
  data.api_layer.library_path = posix.join(system.layerFolder, data.api_layer.library_path);
  return [
    ...staleFiles(now, path),
    { kind: 'folder', path: folder },
    // It may be a link to the manifest beside the library, which is not to be written into.
    { kind: 'remove', path },
    { kind: 'write', path, text: `${JSON.stringify(data, null, 2)}\n` },
  ];
}

/** Takes the registration back; nothing of it is left. */
export function unregisterSteps(system: OpenxrSystem, now: Registration): Step[] {
  if (!isSupported(system)) return [];
  const ours = now.entries.filter((entry) => entry.ours);
  if (system.platform === 'win32') {
    return ours.map((entry) => reg(deleteValue(USER_KEY, entry.manifest)));
  }
  if (ours.length === 0) return [];
  const folders: string[] = [];
  for (let at = userFolder(system); posix.basename(at) !== 'openxr'; at = posix.dirname(at)) folders.push(at);
  folders.push(posix.join(posix.dirname(folders.at(-1)!)));
  return [
    ...ours.map(({ manifest }): Step => ({ kind: 'remove', path: manifest })),
    ...folders.map((path): Step => ({ kind: 'prune', path })),
  ];
}

/** Keys that the last value has left empty, once the steps above are done. */
export function emptyKeySteps({ platform, run }: OpenxrSystem): Step[] {
  if (platform !== 'win32') return [];
  const outermost = emptyKeys(run, USER_KEY).at(-1);
  return outermost === undefined ? [] : [reg(deleteKey(outermost))];
}

const staleFiles = (now: Registration, path: string): Step[] =>
  now.entries
    .filter((entry) => entry.ours && entry.manifest !== path)
    .map((entry) => ({ kind: 'remove', path: entry.manifest }));

const reg = (args: string[]): Step => ({ kind: 'run', command: 'reg', args });
