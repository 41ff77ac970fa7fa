import { statSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import packageJson from '../package.json' with { type: 'json' };
import { buildLayer, LINUX, WINDOWS } from './openxr-layer.js';

/** Builds the OpenXR layer into dist/openxr/PLATFORM; with --windows also for Windows. */
const { values } = parseArgs({ options: { windows: { type: 'boolean', default: false } } });
for (const target of values.windows ? [LINUX, WINDOWS] : [LINUX]) {
  const library = buildLayer(target, join('dist/openxr', target.folder), packageJson.version);
  console.log(`${library}: ${Math.round(statSync(library).size / 1024)} kB`);
}
