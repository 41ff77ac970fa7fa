import packageJson from '../package.json' with { type: 'json' };
import { smoke } from './release/smoke.js';

/** `npm run smoke`: does the program that was just built do the least that it must? On every system that Node runs on. */
try {
  const seen = await smoke([process.execPath, 'dist/main.js'], packageJson.version);
  console.log(seen.join('\n'));
} catch (error) {
  console.error(`smoke: ${(error as Error).message}`);
  process.exitCode = 1;
}
