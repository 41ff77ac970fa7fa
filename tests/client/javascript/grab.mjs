// An app with a ball that the hand can take, for tests/end-to-end/clients-grab.test.ts: prints what happens to it.
// Arguments: URL [moving]. The programs in tests/client/cpp, csharp and python do the same.
import { connect, Grab } from '../../../dist/client/index.js';

const client = connect({ url: process.argv[2], app: 'grab' });
const grab = new Grab(client, { hand: 'right', shape: { kind: 'sphere', radius: 0.035 } });
if (process.argv[3] === 'moving') grab.setVelocity([0.25, 0, -1], [0, 3, 0.5]);
const ball = [0, 0, 0, 0, 0, 0, 1];
let placed = false;
let state = '';
/** p + q · v */
const along = ([x, y, z], [qx, qy, qz, qw], [vx, vy, vz]) => {
  const t = [2 * (qy * vz - qz * vy), 2 * (qz * vx - qx * vz), 2 * (qx * vy - qy * vx)];
  return [
    x + vx + qw * t[0] + qy * t[2] - qz * t[1],
    y + vy + qw * t[1] + qz * t[0] - qx * t[2],
    z + vz + qw * t[2] + qx * t[1] - qy * t[0],
  ];
};
setInterval(() => {
  const pose = client.pose('right');
  if (!placed && pose?.valid) {
    placed = true;
    ball.splice(0, 3, ...along(pose.position('palm'), pose.orientation('palm'), [0, -0.055, -0.03]));
  }
  const event = grab.update(ball, pose);
  if (event) console.log(event, ...(event === 'letGo' ? grab.velocity : ball).map((x) => x.toFixed(4)));
  if (grab.state !== state) {
    state = grab.state;
    console.log(state);
  }
}, 5);
process.stdin.on('end', () => process.exit()).resume();
