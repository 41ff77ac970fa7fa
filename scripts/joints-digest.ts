/**
 * A digest of every bit of the joints that sessions give, to hold one version of Node, or one machine, against another.
 *
 *   node --import tsx scripts/joints-digest.ts [FILE...]
 *   npx -y -p node@22 -- node --import tsx scripts/joints-digest.ts [FILE...]
 */
import { createHash } from 'node:crypto';
import { createOfflineHands } from '../src/recording/offline.js';
import { openSession } from '../src/recording/session.js';

const given = process.argv.slice(2);
const files = given.length ? given : ['everyday', 'grasp', 'faults'].map((s) => `config/sessions/${s}.mcap`);

console.log(`Node ${process.version}, V8 ${process.versions.v8}`);
for (const file of files) {
  const session = openSession(file);
  const hash = createHash('sha256');
  let frames = 0;
  const hands = createOfflineHands(session, (hand, frame) => {
    frames++;
    hash.update(`${hand} ${frame.timeUs} ${frame.valid} ${frame.space} ${frame.fingerStates}\n`);
    for (const { buffer, byteOffset, byteLength } of [frame.poses, frame.velocities]) {
      hash.update(new Uint8Array(buffer, byteOffset, byteLength));
    }
  });
  session.visit(hands.visitor);
  session.close();
  console.log(`${hash.digest('hex')}  ${frames} frames  ${file}`);
}
