import { spawnSync } from 'node:child_process';
import { parseArgs } from 'node:util';
import { buildHostile } from '../tests/openxr/build.js';

/** Throws damaged messages at the OpenXR layer's readers, under the address and undefined sanitizers. */
const { values } = parseArgs({
  options: { count: { type: 'string', default: '1000000' }, seed: { type: 'string', default: '1' } },
});
const { status } = spawnSync(await buildHostile(), [values.count, values.seed], { stdio: 'inherit' });
process.exitCode = status ?? 1;
