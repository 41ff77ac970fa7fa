// Four keys that fingers press, that sound, and that stop the fingers at their bottom once the glove is armed.
import { connect } from 'tautline/client';
import * as THREE from 'three';
import { createCapsuleHand } from './capsule-hand.js';
import { $, createView, offerDisarm, prefersLessMotion, say, showHowToArm, stopped } from './frame.js';
import { bottomOf, createKeys, KEY_SIZE, middleOf, press } from './keyboard.js';

const client = connect({ url: location.origin, app: 'Keys demo', surface: true });
offerDisarm(client);

/** Of a pentatonic scale: whatever is pressed together sounds well. */
const NOTES = [
  ['C', 261.63],
  ['D', 293.66],
  ['E', 329.63],
  ['G', 392],
];
const COLOURS = [0xd8552b, 0xc98a1b, 0x6a8f3c, 0x2b7fa8];
/** Stiffness of the bottom of a key, N/m, and its name. */
const WEIGHTS = [
  ['light', 250],
  ['medium', 800],
  ['heavy', undefined],
];

let hand;
let keys = [];
let hold;
let meshes = [];
const labels = [];

const { scene } = createView(
  $('view'),
  (camera, aspect) => {
    // From the side of the thumb, and from before the tips: there it is seen how they press.
    const far = 0.34 * Math.max(1, 1.15 / aspect);
    camera.position.set((hand === 'left' ? 0.8 : -0.8) * far, 0.5 * far, -0.11 - 0.55 * far);
    camera.lookAt(0, -0.02, -0.1);
  },
  draw,
);
const drawnHand = createCapsuleHand(scene);

// ---- keys ----
const travel = () => Number($('travel').value) / 1000;
function touch() {
  const [, stiffness] = WEIGHTS[Number($('weight').value)];
  return { space: 'wrist', shape: bottomOf(keys, travel()), ...(stiffness ? { stiffness } : {}) };
}
function layKeys({ hand: side, skeleton }, jointOrder) {
  hand = side;
  keys = createKeys(skeleton, jointOrder);
  for (const mesh of meshes) scene.remove(mesh);
  meshes = keys.map(({ orientation }, i) => {
    const material = new THREE.MeshStandardMaterial({ color: COLOURS[i], roughness: 0.45 });
    const mesh = new THREE.Mesh(new THREE.BoxGeometry(...KEY_SIZE), material);
    mesh.quaternion.fromArray(orientation);
    scene.add(mesh);
    return mesh;
  });
  labels.splice(0);
  $('keys').replaceChildren(
    ...keys.map(({ finger }, i) => {
      const item = document.createElement('li');
      item.textContent = `${NOTES[i][0]} (${finger})`;
      labels.push(item);
      return item;
    }),
  );
  hold?.release();
  hold = client.hold({ hand, ...touch() });
}
client.on('welcome', ({ hands, jointOrder }) => {
  const [first] = hands;
  if (first && first.hand !== hand) layKeys(first, jointOrder);
});
$('travel').addEventListener('input', () => {
  $('travel').setAttribute('aria-valuetext', `${$('travel').value} mm`);
  hold?.move(touch());
});
$('weight').addEventListener('input', () => {
  $('weight').setAttribute('aria-valuetext', WEIGHTS[Number($('weight').value)][0]);
  hold?.release();
  hold = hand && client.hold({ hand, ...touch() });
});
client.on('resistance', ({ hand: side, fingers }) => {
  if (side !== hand) return;
  for (const [finger, felt] of Object.entries(fingers)) drawnHand.glow(finger, stopped(felt));
});

// ---- sound: a browser makes none before somebody has asked for it ----
let audio;
$('sound').addEventListener('click', () => {
  const on = $('sound').getAttribute('aria-pressed') !== 'true';
  $('sound').setAttribute('aria-pressed', String(on));
  audio ??= new AudioContext();
  void (on ? audio.resume() : audio.suspend());
});
function sound(i) {
  if (audio?.state !== 'running') return;
  const now = audio.currentTime;
  const tone = new OscillatorNode(audio, { type: 'triangle', frequency: NOTES[i][1] });
  const level = new GainNode(audio, { gain: 0 });
  level.gain.setTargetAtTime(0.2, now, 0.005);
  level.gain.setTargetAtTime(0, now + 0.05, 0.25);
  tone.connect(level).connect(audio.destination);
  tone.start(now);
  tone.stop(now + 1.5);
}

// ---- every frame ----
/** Keys light up for a while; with less motion they change their colour, and do not fade. */
const lit = [0, 0, 0, 0];
function draw(timeMs, seconds) {
  const pose = hand && client.poseAt(hand, timeMs);
  if (!pose) {
    if (client.state === 'open' && !hand) say('No glove in the profile.');
    return;
  }
  const poses = inWrist(pose);
  drawnHand.place({ poses });
  const struck = pose.valid ? press(keys, poses, travel()) : [];
  keys.forEach((key, i) => {
    if (struck.includes(key)) {
      lit[i] = 1;
      sound(i);
    }
    lit[i] = prefersLessMotion.matches ? Number(key.down) : Math.max(Number(key.down), lit[i] - 3 * seconds);
    meshes[i].position.fromArray(middleOf(key, key.pressed, travel()));
    meshes[i].material.emissive.setHex(COLOURS[i]).multiplyScalar(0.8 * lit[i]);
    if (labels[i].dataset.down !== String(key.down)) labels[i].dataset.down = String(key.down);
  });
  document.body.dataset.hold = hold?.state ?? 'none';
  showHowToArm(client, [hand]);
  const name = hand === 'left' ? 'Left' : 'Right';
  if (!pose.valid) say(`${name} hand: ${pose.reason}`);
  else if (hold?.state === 'held') say('Press a key: its bottom stops the finger.');
  else if (hold?.error?.code === 'disarmed')
    say('Press a key with a finger: it sounds. Armed, its bottom stops the finger.');
  else say(`${name} hand on the keys: ${hold?.error?.message ?? 'asking'}`);
}

/** The keys are fixed to the wrist: wherever that moves, it is taken out again. */
const turn = new THREE.Quaternion();
const point = new THREE.Vector3();
function inWrist(pose) {
  const poses = pose.poses.slice();
  turn.fromArray(pose.orientation('wrist')).invert();
  const wrist = pose.position('wrist');
  for (let at = 0; at < poses.length; at += 8) {
    point.fromArray(poses, at).sub({ x: wrist[0], y: wrist[1], z: wrist[2] });
    point.applyQuaternion(turn).toArray(poses, at);
  }
  return poses;
}
