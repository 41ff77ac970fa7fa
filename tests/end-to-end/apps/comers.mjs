// Connections that come and go. Arguments: port, how many at a time. Says "coming" after the first thousand.
import { connect } from 'node:net';
import { constants, setPriority } from 'node:os';

setPriority(constants.priority.PRIORITY_LOW);

const [port, count] = process.argv.slice(2).map(Number);
const AGAIN_MS = 20;
let came = 0;

function come() {
  const socket = connect(port, '127.0.0.1');
  socket.on('error', () => {});
  socket.on('connect', () => {
    socket.destroy();
    if (++came === 1000) console.log('coming');
  });
  socket.on('close', () => setTimeout(come, AGAIN_MS));
}
for (let n = 0; n < count; n++) come();
