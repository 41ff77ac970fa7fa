// A kaleidoscope that the inputs of a glove paint: no hand model needed, as for any app with trigger and stick.
import { connect } from 'tautline/client';

const client = connect({ url: location.origin, app: 'Draw demo', streams: ['inputs', 'health'] });
const $ = (id) => document.getElementById(id);
const paper = $('paper');
const ink = paper.getContext('2d');
const FOLDS = 6;

/** One hand paints: the first that the service has. */
let hand;
let glove = 'waiting';
let values = {};
let base = '/user/hand/right/input/';
const read = (path) => Number(values[base + path] ?? 0);

const pen = { radius: 0, angle: 0, hue: 20 };
let last;

function clear() {
  ink.setTransform(1, 0, 0, 1, 0, 0);
  ink.clearRect(0, 0, paper.width, paper.height);
}
$('clear').addEventListener('click', clear);

/** Acts once at each press. */
const pressed = new Set();
function onPress(paths, act) {
  const down = paths.some((path) => read(path) > 0);
  const key = paths.join();
  if (down && !pressed.has(key)) act();
  if (down) pressed.add(key);
  else pressed.delete(key);
}

client.on('welcome', ({ hands }) => {
  hand = hands[0]?.hand;
  glove = hands[0]?.link.state;
});
client.on('health', (message) => {
  if (message.hand !== hand) return;
  glove = message.link.state;
  if (glove !== 'live') $('state').textContent = message.link.reason ?? `${hand} hand: no glove`;
});
client.on('inputs', (message) => {
  if (message.hand !== hand || glove !== 'live') return;
  values = message.values;
  base = `/user/hand/${message.hand}/input/`;
  // The left hand calls its buttons x and y.
  onPress(['a/click', 'x/click'], () => {
    pen.hue = (pen.hue + 67) % 360;
  });
  onPress(['b/click', 'y/click'], clear);
  $('state').textContent =
    `${message.hand} hand: trigger ${read('trigger/value').toFixed(2)}, squeeze ${read('squeeze/value').toFixed(2)}`;
});
client.on('state', ({ state, reason }) => {
  if (reason && state !== 'open') $('state').textContent = reason;
});
client.on('error', ({ message }) => {
  $('state').textContent = message;
});

/** The paper keeps its drawing when the window changes. */
function resize() {
  const { clientWidth, clientHeight } = paper.parentElement;
  const scale = Math.min(devicePixelRatio, 2);
  const width = Math.round(clientWidth * scale);
  const height = Math.round(clientHeight * scale);
  if (paper.width === width && paper.height === height) return;
  const kept = document.createElement('canvas');
  kept.width = Math.max(1, paper.width);
  kept.height = Math.max(1, paper.height);
  kept.getContext('2d').drawImage(paper, 0, 0);
  paper.width = width;
  paper.height = height;
  ink.drawImage(kept, (width - kept.width) / 2, (height - kept.height) / 2);
}

let beforeMs;
function draw(timeMs) {
  requestAnimationFrame(draw);
  resize();
  const seconds = Math.min(0.05, (timeMs - (beforeMs ?? timeMs)) / 1000);
  beforeMs = timeMs;
  // Eased, so that the line is smooth however seldom inputs change.
  const ease = 1 - Math.exp(-seconds * 8);
  pen.radius += (0.15 + 0.8 * read('trigger/value') - pen.radius) * ease;
  pen.angle += seconds * (0.35 + 3 * read('thumbstick/x'));
  pen.hue += seconds * 30 * read('thumbstick/y');
  const size = Math.min(paper.width, paper.height) / 2;
  const x = Math.cos(pen.angle) * pen.radius * size;
  const y = Math.sin(pen.angle) * pen.radius * size;
  if (last && client.state === 'open' && glove === 'live') stroke(x, y, size);
  last = { x, y };
}

function stroke(x, y, size) {
  ink.lineCap = 'round';
  ink.lineWidth = size * (0.006 + 0.05 * read('squeeze/value'));
  ink.strokeStyle = `hsl(${pen.hue} 75% 52% / 0.8)`;
  for (let fold = 0; fold < FOLDS; fold++) {
    for (const mirror of [1, -1]) {
      ink.setTransform(1, 0, 0, 1, paper.width / 2, paper.height / 2);
      ink.rotate((fold * 2 * Math.PI) / FOLDS);
      ink.scale(1, mirror);
      ink.beginPath();
      ink.moveTo(last.x, last.y);
      ink.lineTo(x, y);
      ink.stroke();
    }
  }
}
requestAnimationFrame(draw);
