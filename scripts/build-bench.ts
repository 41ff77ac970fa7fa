import { rolldown } from 'rolldown';

/** The benchmarks into build/, bundled as the program is: what they measure is in the form that users run. */
const made = await rolldown({
  input: Object.fromEntries(
    ['bench', 'bench/pass-through', 'load', 'load/readers'].map((name) => [name, `scripts/${name}.ts`]),
  ),
  platform: 'node',
  external: /^[^./]/,
});
await made.write({ dir: 'build/scripts', format: 'esm', cleanDir: true, chunkFileNames: 'parts/[name].js' });
await made.close();
