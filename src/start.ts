#!/usr/bin/env node
import * as nodeModule from 'node:module';
import { userPaths } from './install/paths.js';

/**
 * What `tautline` runs, dist/main.js. Where Node has it (22.8 and later), the rest of the program is compiled once and
 * kept for the next start: so nothing of it is imported before.
 */
const { enableCompileCache } = nodeModule as { enableCompileCache?: (folder: string) => unknown };
// Node's own choice of a folder is one that every user of the machine can write to.
enableCompileCache?.(userPaths().cache);

const { main } = await import('./main.js');
await main();
