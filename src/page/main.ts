import { createDisarmBar } from './arming.js';
import { createLive } from './live.js';
import { createShell } from './shell.js';

const live = createLive();
createShell(live, createDisarmBar(live));
