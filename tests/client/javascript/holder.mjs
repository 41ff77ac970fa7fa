// As holder.cpp in tests/client/cpp, with the JavaScript client.
import { createInterface } from 'node:readline';
import { connect } from '../../../dist/client/index.js';

const client = connect({ url: process.argv[2], app: 'holder' });
client.on('error', () => {});
const holds = new Map();
const said = new Map();
const stop = (curl) => ({ fingers: { index: { stopAt: Number(curl), effort: 1 } } });
createInterface({ input: process.stdin }).on('line', (line) => {
  const [word, name, curl] = line.split(' ');
  const hold = holds.get(name);
  if (word === 'end') process.exit();
  if (word === 'stop' && hold) hold.move(stop(curl));
  else if (word === 'stop') holds.set(name, client.resist({ hand: 'right', ...stop(curl) }));
  const shape = { kind: 'sphere', radius: 0.03 };
  if (word === 'touch') holds.set(name, client.hold({ hand: 'right', shape, effort: 0 }));
  if (word === 'free') hold.release();
});
setInterval(() => {
  for (const [name, { state, error, limited }] of holds) {
    const { code = null, path = null, message = null } = error ?? {};
    const now = `${name} ${JSON.stringify({ state, code, path, message, limited: limited ?? null })}`;
    if (said.get(name) === now) continue;
    said.set(name, now);
    console.log(now);
  }
}, 2);
