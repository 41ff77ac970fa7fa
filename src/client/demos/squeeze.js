// Put something into the hand and squeeze it: fingers stop at its surface once the wearer has armed the glove.
import { connect, FINGERS } from 'tautline/client';
import * as THREE from 'three';
import { createCapsuleHand } from './capsule-hand.js';

const client = connect({ url: location.origin, app: 'Squeeze demo' });
const $ = (id) => document.getElementById(id);
const say = ({ message }) => Object.assign($('state'), { textContent: message });

/** What can be held: the shape that is felt, how soft it is and where it lies before the palm; and its looks. */
const THINGS = {
  ball: {
    touch: { shape: { kind: 'sphere', radius: 0.032 }, position: [0, -0.045, -0.035], stiffness: 600 },
    geometry: new THREE.SphereGeometry(0.032, 48, 32),
    colour: 0xd8552b,
  },
  can: {
    touch: {
      shape: { kind: 'cylinder', radius: 0.028, length: 0.12 },
      position: [0, -0.042, -0.035],
      orientation: [0, 0, Math.SQRT1_2, Math.SQRT1_2],
    },
    geometry: new THREE.CylinderGeometry(0.028, 0.028, 0.12, 48),
    colour: 0x2b7fa8,
  },
  box: {
    touch: { shape: { kind: 'box', size: [0.09, 0.045, 0.045] }, position: [0, -0.038, -0.035] },
    geometry: new THREE.BoxGeometry(0.09, 0.045, 0.045),
    colour: 0x6a8f3c,
  },
};

// ---- what is held ----
const renderer = new THREE.WebGLRenderer({ canvas: $('view'), antialias: true, alpha: true });
const camera = new THREE.PerspectiveCamera(35, 1, 0.01, 5);
const scene = new THREE.Scene();
scene.add(new THREE.HemisphereLight(0xffffff, 0x8899aa, 4));
const drawnHand = createCapsuleHand(scene);
const thing = new THREE.Mesh(new THREE.BufferGeometry(), new THREE.MeshStandardMaterial({ roughness: 0.35 }));
scene.add(thing);

let hand;
let hold;
let held;
const felt = {};
function choose(name) {
  hold?.release();
  held = THINGS[name];
  hold = held && client.hold({ hand, space: 'palm', ...held.touch });
  thing.visible = held !== undefined;
  for (const button of document.querySelectorAll('[data-thing]')) {
    button.setAttribute('aria-pressed', String(button.dataset.thing === name));
    button.onclick = () => choose(button.dataset.thing);
  }
  if (!held) return;
  thing.geometry = held.geometry;
  thing.material.color.set(held.colour);
}
client.on('welcome', ({ hands }) => {
  $('how').textContent = hands[0] ? `To arm: ${hands[0].howToArm}.` : '';
  if (!hands[0] || hands[0].hand === hand) return;
  hand = hands[0].hand;
  choose('ball');
});
client.on('resistance', (report) => report.hand === hand && Object.assign(felt, report.fingers));
client.on('error', say);
client.on('state', ({ state, reason }) => state === 'waiting' && say({ message: reason }));

// ---- only the wearer arms: an app says how, and holds as soon as it is so; anybody may disarm ----
const disarm = () => client.disarm().catch(say);
$('disarm').addEventListener('click', disarm);
addEventListener('keydown', ({ key }) => key === 'Escape' && disarm());

// ---- every frame ----
function draw(timeMs) {
  requestAnimationFrame(draw);
  const { clientWidth: width, clientHeight: height } = renderer.domElement.parentElement;
  renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
  renderer.setSize(width, height, false);
  camera.aspect = width / height;
  const far = 0.36 * Math.max(1, 1.15 / camera.aspect);
  camera.position.set((hand === 'left' ? 0.75 : -0.75) * far, -0.35 * far, -0.09 - 0.65 * far);
  camera.lookAt(0, -0.02, -0.08);
  camera.updateProjectionMatrix();
  const pose = hand && client.poseAt(hand, timeMs);
  if (pose) show(pose);
  renderer.render(scene, camera);
}

const palm = new THREE.Vector3();
function show(pose) {
  drawnHand.place(pose);
  // A finger that is stopped glows; a soft thing gives way as far as the fingers go into it.
  let depth = 0;
  for (const finger of FINGERS) {
    drawnHand.glow(finger, felt[finger]?.effort ?? 0);
    depth = Math.max(depth, felt[finger]?.contact?.depthM ?? 0);
  }
  if (held) {
    const { position, orientation, stiffness } = held.touch;
    thing.quaternion.fromArray(pose.orientation('palm'));
    thing.position.fromArray(position).applyQuaternion(thing.quaternion);
    thing.position.add(palm.fromArray(pose.position('palm')));
    if (orientation) thing.quaternion.multiply(new THREE.Quaternion(...orientation));
    const give = stiffness ? Math.min(depth, 0.006) / 0.032 : 0;
    thing.scale.set(1 + give / 3, 1 - give, 1 + give / 3);
  }
  const touch = hold ? (hold.error?.message ?? hold.state) : 'empty';
  $('how').hidden = client.isArmed(hand);
  $('state').textContent = pose.valid ? `${hand} hand: ${touch}` : `${hand} hand: ${pose.reason}`;
}
requestAnimationFrame(draw);
