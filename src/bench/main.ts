import { createDisarmBar } from './arming.js';
import { createConnection } from './connection.js';
import { createLive } from './live.js';
import { createShell } from './shell.js';

const connection = createConnection();
const live = createLive(connection);
createShell(live, createDisarmBar(live));
connection.connect();
