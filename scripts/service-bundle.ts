import { basename, join } from 'node:path';
import { transform } from 'esbuild';
import { type InputOptions, type OutputOptions, type Plugin, rolldown } from 'rolldown';
import packageJson from '../package.json' with { type: 'json' };
import { compiledCheck, programChecks } from './compiled-checks.js';

/**
 * The program in few files: dist/main.js and its parts in dist/program/. Loading 859 files one by one
 * was half of the work from start to listening. Names stay, lines are short, and there are source maps, so that a stack
 * trace says what it said. The bundler must keep the constants of a file constants: the frame loop counts on it.
 */

/** They are installed for what apps import from the package; the program has its own. */
const ALSO_INSIDE = ['@sinclair/typebox', 'gl-matrix', 'ws'];
/** Native, or looked for only when something needs them. */
const BESIDE = [...Object.keys(packageJson.dependencies), ...Object.keys(packageJson.optionalDependencies)]
  .filter((name) => !ALSO_INSIDE.includes(name))
  // What `ws` would use if somebody had installed it.
  .concat('bufferutil', 'utf-8-validate');

/**
 * Packages that others load, or have at hand, for what this program does not do. Whoever makes it do so is told: `fail`
 * is the statement that says so.
 */
const LEFT_OUT: Record<string, (fail: string) => string> = {
  // Every check is compiled already.
  ajv: (fail) => `export class Ajv { constructor() { ${fail} } }`,
  // No route has a schema: what apps send is checked by checks of ours.
  '@fastify/ajv-compiler': (fail) => `module.exports = () => () => { ${fail} };`,
  '@fastify/fast-json-stringify-compiler': (fail) => `module.exports = () => () => { ${fail} };`,
  // Requests without a socket, for tests.
  'light-my-request': (fail) => `module.exports = () => { ${fail} };`,
  // Asked whether our plugins go with our fastify: the lock file says so.
  semver: () => 'module.exports = { satisfies: () => true, coerce: (version) => version, gt: () => false };',
  // Files are looked up when they are asked for, not listed at the start.
  glob: (fail) => `module.exports = { glob() { ${fail} } };`,
};

const leaveOut: Plugin = {
  name: 'leave-out',
  resolveId: (id) => (Object.hasOwn(LEFT_OUT, id) ? `\0left-out:${id}` : undefined),
  load(id) {
    const name = /^\0left-out:(.*)$/.exec(id)?.[1];
    if (name === undefined) return undefined;
    const text = `${name} is left out of the built program: see scripts/service-bundle.ts`;
    return LEFT_OUT[name](`throw new Error(${JSON.stringify(text)});`);
  },
};

/**
 * The engine reads all of a file at every start: comments and white space are left out of it, and it is in ASCII, as
 * one sign beyond Latin-1 makes two bytes of every one. The bundler prints what it is given anew, hence here, at its
 * end.
 */
const tightText: Plugin = {
  name: 'tight-text',
  async generateBundle(_options, bundle) {
    for (const file of Object.values(bundle)) {
      const mapFile = bundle[`${file.fileName}.map`];
      if (file.type !== 'chunk' || mapFile?.type !== 'asset') continue;
      // Given in line, the map of a source is heeded in the map that comes out.
      const sourceMap = `//# sourceMappingURL=data:application/json;base64,${Buffer.from(mapFile.source).toString('base64')}`;
      const { code, map } = await transform(`${file.code}\n${sourceMap}`, {
        sourcefile: file.fileName,
        minifyWhitespace: true,
        lineLimit: 120,
        charset: 'ascii',
        legalComments: 'none',
        sourcemap: 'external',
        sourcesContent: true,
        target: 'es2022',
      });
      file.code = `${code}//# sourceMappingURL=${basename(mapFile.fileName)}\n`;
      mapFile.source = map;
    }
  },
};

/** With what they import, this is all that `tautline run` needs: one file instead of fifty. */
const SERVICE = /[\\/]src[\\/](service|config[\\/]load|log[\\/]logger|install[\\/]notify)\.ts$/;

const PROGRAM: OutputOptions = {
  format: 'esm',
  entryFileNames: '[name].js',
  chunkFileNames: 'program/[name].js',
  sourcemap: true,
  codeSplitting: {
    groups: [
      // What a process of its own shares with the service, and what comes before all else, must not bring the rest along.
      {
        name: 'radio',
        test: /[\\/]src[\\/](link[\\/]ble-(errors|messages)|protocol[\\/]link-table)\.ts$/,
        priority: 3,
      },
      { name: 'places', test: /[\\/]src[\\/]install[\\/]paths\.ts$/, priority: 3 },
      { name: 'command-line', test: /[\\/]src[\\/]main\.ts$/, priority: 2 },
      { name: 'service', test: SERVICE, priority: 1 },
    ],
  },
};
/** Where src/config/schema-check.ts, as a part of the program, looks for them. */
const CHECKS = 'program/checks';

/**
 * @param write false: only to know what would be in it
 * @returns every file that is in it, ours and others'
 */
export async function bundleService(folder: string, write: boolean): Promise<string[]> {
  const inside = new Set<string>();
  const bundle = async (input: InputOptions, output: OutputOptions): Promise<void> => {
    const made = await rolldown({
      platform: 'node',
      onLog(level, { code, message }) {
        // A command names what it needs where it needs it; another may have brought it along already.
        // And how long a step took says something of the machine, not of the program.
        if (code === 'INEFFECTIVE_DYNAMIC_IMPORT' || code === 'PLUGIN_TIMINGS') return;
        if (level === 'warn') throw new Error(`the bundler warns: ${message}`);
      },
      ...input,
    });
    const result = await (write ? made.write(output) : made.generate(output));
    await made.close();
    for (const file of result.output) {
      if (file.type !== 'chunk') continue;
      for (const id of Object.keys(file.modules)) if (!id.startsWith('\0')) inside.add(id);
    }
  };

  await bundle(
    {
      input: {
        main: 'src/start.ts',
        'link/ble-process': 'src/link/ble-process.ts',
        'fleet/publisher-thread': 'src/fleet/publisher-thread.ts',
      },
      external: BESIDE.flatMap((name) => [name, new RegExp(`^${name}/`)]),
      plugins: [leaveOut, tightText],
    },
    { ...PROGRAM, dir: folder },
  );
  for (const source of await programChecks()) {
    const { file, code } = compiledCheck(source);
    const id = `\0check:${file}`;
    const give: Plugin = {
      name: 'check',
      resolveId: (asked) => (asked === id ? id : undefined),
      load: (asked) => (asked === id ? { code, moduleType: 'js' } : undefined),
    };
    await bundle(
      { input: { [file.replace(/\.cjs$/, '')]: id }, plugins: [give] },
      { format: 'cjs', dir: join(folder, CHECKS), entryFileNames: '[name].cjs' },
    );
  }
  return [...inside];
}
