import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, normalize } from 'node:path';

/**
 * The floor plan of `src/`, from the top floor down: a file may import from its own room and from those below it.
 * The files at the foot are what every room may use.
 */
export const ROOMS: readonly string[] = [
  'start.ts',
  'main.ts',
  'commands',
  'service.ts',
  'page',
  'client',
  'doctor',
  'fleet',
  'recording',
  'stream',
  'glove',
  'guide',
  'sensing',
  'resistance',
  'contact',
  'link',
  'install',
  'config',
  'protocol',
  'hand',
  'mcap',
  'log',
  'time-slices.ts',
  'steps.ts',
  'clock.ts',
  'mutable.ts',
  'package-files.ts',
  'errors.ts',
];

/** No input, no output, no clock, no logger: what makes a replay bit-identical and a test instant. */
export const PURE: readonly string[] = ['hand', 'contact', 'sensing', 'resistance'];
/** What pure rooms may take from elsewhere: plain data and arithmetic. */
const HARMLESS: readonly string[] = [...PURE, 'config', 'protocol', 'steps.ts', 'errors.ts'];
const HARMLESS_PACKAGES: readonly string[] = ['gl-matrix'];
/** Single files that are plain data or arithmetic in a room that is not. */
const HARMLESS_FILES: readonly string[] = ['link/wire-stop.ts', 'link/codec.ts'];

export interface Import {
  /** Path under `src/`, or the name of a package or of a module of Node. */
  of: string;
  /** Nothing of it is left at run time. */
  typeOnly: boolean;
}
/** Path under `src/` -> what it imports. */
export type Imports = ReadonlyMap<string, readonly Import[]>;

const STATEMENT =
  /(?:^|\n)\s*(?:import|export)\s+(type\s)?([\w*{}\s,$]*?)\bfrom\s*'([^']+)'|(?:^|\n)\s*import\s*'([^']+)'|\bimport\(\s*'([^']+)'\s*\)/g;

/** The imports of one file. Comments are left out: they may show examples. */
export function importsOf(file: string, text: string): Import[] {
  const code = text.replace(/\/\*[\s\S]*?\*\//g, '').replace(/^\s*\/\/.*$/gm, '');
  return [...code.matchAll(STATEMENT)].map(([, type, names, from, bare, dynamic]) => {
    const of = from ?? bare ?? dynamic;
    const listed = /^\{([\s\S]*)\}$/.exec(names?.trim() ?? '')?.[1];
    const named = listed?.split(',').map((name) => name.trim()) ?? [''];
    return {
      of: of.startsWith('.') ? sourceOf(join(dirname(file), of)) : of,
      typeOnly:
        type !== undefined || named.every((name, i) => /^type\s/.test(name) || (name === '' && i > 0)),
    };
  });
}

const sourceOf = (path: string): string => normalize(path).replaceAll('\\', '/').replace(/\.js$/, '.ts');

/** Every TypeScript file under a folder. */
export function readImports(root: string): Imports {
  const files = readdirSync(root, { recursive: true, encoding: 'utf8' })
    .map((path) => path.replaceAll('\\', '/'))
    .filter((path) => /\.tsx?$/.test(path) && !path.endsWith('.d.ts'));
  const known = new Set(files);
  // An import names the file that it becomes: a component is written as .tsx.
  const named = (of: string): string => (known.has(`${of}x`) ? `${of}x` : of);
  return new Map(
    files.map((file) => {
      const imports = importsOf(file, readFileSync(join(root, file), 'utf8'));
      return [file, imports.map(({ of, typeOnly }) => ({ of: named(of), typeOnly }))];
    }),
  );
}

const roomOf = (file: string): string => file.split('/', 1)[0];
const floorOf = (file: string): number => ROOMS.indexOf(roomOf(file));

/** Every import that runs upwards, and every file that stands in no room. */
export function upwards(imports: Imports): string[] {
  return [...imports].flatMap(([file, list]) => {
    if (floorOf(file) < 0) return [`${file} stands in no room`];
    return list
      .filter(({ of }) => imports.has(of) && floorOf(of) < floorOf(file))
      .map(({ of }) => `${file} -> ${of}`);
  });
}

/** What a pure room takes at run time that is not plain data or arithmetic. */
export function impurities(imports: Imports): string[] {
  return [...imports].flatMap(([file, list]) =>
    PURE.includes(roomOf(file))
      ? list
          .filter(({ of, typeOnly }) => !typeOnly && !isHarmless(of, imports.has(of)))
          .map(({ of }) => `${file} -> ${of}`)
      : [],
  );
}

const isHarmless = (of: string, own: boolean): boolean =>
  own ? HARMLESS.includes(roomOf(of)) || HARMLESS_FILES.includes(of) : HARMLESS_PACKAGES.includes(of);

/** Circles of files, types included, each in the order of its imports. */
export function circles(imports: Imports): string[] {
  const found: string[] = [];
  const done = new Set<string>();
  const path: string[] = [];
  function visit(file: string): void {
    path.push(file);
    for (const { of } of imports.get(file) ?? []) {
      if (!imports.has(of) || done.has(of)) continue;
      if (path.includes(of)) found.push([...path.slice(path.indexOf(of)), of].join(' -> '));
      else visit(of);
    }
    path.pop();
    done.add(file);
  }
  for (const file of imports.keys()) if (!done.has(file)) visit(file);
  return found;
}

/** What a sample passes on its way, but for objects that are made once, or per link: see mutable.ts. */
const ON_THE_WAY = /^(hand|contact|sensing|resistance|link|glove)\//;
const OFF_THE_WAY: readonly string[] = ['glove/glove.ts', 'link/meet.ts'];
const ACCESSOR = /^\s+[gs]et \w+\(/m;

/** Object literals with accessors where samples pass. A class may have them: there they are on the prototype. */
export function slowObjects(file: string, text: string): boolean {
  if (!ON_THE_WAY.test(file) || OFF_THE_WAY.includes(file)) return false;
  const outsideClasses = text.replace(/^(export )?(abstract )?class [\s\S]*?^\}/gm, '');
  return ACCESSOR.test(outsideClasses);
}
