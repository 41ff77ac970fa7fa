// One app, measured by scripts/client-costs.ts: a hand that is drawn RATE times a second, and a ball that it takes.
// Arguments: URL RATE. Says "valid" and "lost"; "begin" begins to count, "report" prints what a frame took.
import { createInterface } from 'node:readline';
import { connect, Grab } from '../../dist/client/index.js';

const [url, rate] = [process.argv[2], Number(process.argv[3])];
const client = connect({ url, app: 'measured', rateHz: rate, reusePoses: true });
const grab = new Grab(client, { hand: 'right', shape: { kind: 'sphere', radius: 0.035 } });
const ball = [0, -0.056, -0.086, 0, 0, 0, 1];
const tip = [0, 0, 0];
let valid = false;
let frames = 0;
let sum = 0;
let poses = 0;
client.on('joints', () => poses++);
setInterval(() => {
  frames++;
  const pose = client.pose('right');
  grab.update(ball, pose);
  if (pose) sum += pose.position('index-finger-tip', tip)[0];
  if ((pose?.valid ?? false) === valid) return;
  valid = !valid;
  console.log(valid ? 'valid' : 'lost');
}, 1000 / rate);

let begun;
createInterface({ input: process.stdin }).on('line', (line) => {
  if (line === 'end') process.exit();
  if (line === 'begin') {
    begun = { cpu: process.cpuUsage(), frames, poses, ms: performance.now() };
    return;
  }
  const { user, system } = process.cpuUsage(begun.cpu);
  const report = {
    cpuS: (user + system) / 1e6,
    wallS: (performance.now() - begun.ms) / 1000,
    frames: frames - begun.frames,
    poses: poses - begun.poses,
    allocatedBytes: null,
  };
  console.log(`${JSON.stringify(report)}${Number.isFinite(sum) ? '' : ' '}`);
});
