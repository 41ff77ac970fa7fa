import { join } from 'node:path';
import packageJson from '../../package.json' with { type: 'json' };
import { buildLayer, LINUX } from '../../scripts/openxr-layer.js';
import { buildAllBeside } from './build.js';

/** Builds the layer, the test runtime and the test application, unless they are as they were. */
export default async function setup(): Promise<void> {
  await buildAllBeside();
  // As it is packed: what `tautline openxr on` registers.
  buildLayer(LINUX, join('dist/openxr', LINUX.folder), packageJson.version);
}
