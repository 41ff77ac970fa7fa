// Put something into the hand and squeeze it: the fingers stop at its surface once the wearer has armed the glove.
import { connect, FINGERS, JOINT_NAMES, JOINT_PARENT } from 'tautline/client';
import * as THREE from 'three';

const client = connect({ url: location.origin, app: 'Squeeze demo' });
const $ = (id) => document.getElementById(id);

/** What can be held: the shape that is felt, where it lies in front of the palm, and how it looks. */
const THINGS = {
  ball: {
    shape: { kind: 'sphere', radius: 0.032 },
    position: [0, -0.052, -0.035],
    stiffness: 600,
    geometry: new THREE.SphereGeometry(0.032, 48, 32),
    colour: 0xd8552b,
  },
  can: {
    shape: { kind: 'cylinder', radius: 0.028, length: 0.12 },
    position: [0, -0.048, -0.035],
    orientation: [0, 0, Math.SQRT1_2, Math.SQRT1_2],
    geometry: new THREE.CylinderGeometry(0.028, 0.028, 0.12, 48),
    colour: 0x2b7fa8,
  },
  box: {
    shape: { kind: 'box', size: [0.09, 0.045, 0.045] },
    position: [0, -0.044, -0.035],
    geometry: new THREE.BoxGeometry(0.09, 0.045, 0.045),
    colour: 0x6a8f3c,
  },
};

// ---- the scene ----
const renderer = new THREE.WebGLRenderer({ canvas: $('view'), antialias: true, alpha: true });
const scene = new THREE.Scene();
const camera = new THREE.PerspectiveCamera(35, 1, 0.01, 5);
const middle = new THREE.Vector3(0, -0.02, -0.09);
scene.add(new THREE.HemisphereLight(0xffffff, 0x8899aa, 2.5));
const sun = new THREE.DirectionalLight(0xffffff, 2);
sun.position.set(-1, 1, 1);
scene.add(sun);

const skin = FINGERS.map(() => new THREE.MeshStandardMaterial({ color: 0xd9c2ad, roughness: 0.7 }));
const palmSkin = new THREE.MeshStandardMaterial({ color: 0xd9c2ad, roughness: 0.7 });
const bones = JOINT_NAMES.map((name, joint) => {
  const finger = FINGERS.findIndex((f) => name.startsWith(f) || (f === 'little' && name.startsWith('pinky')));
  const material = finger < 0 || name.endsWith('metacarpal') ? palmSkin : skin[finger];
  const ball = new THREE.Mesh(new THREE.SphereGeometry(1, 20, 16), material);
  const stick = new THREE.Mesh(new THREE.CylinderGeometry(1, 1, 1, 20, 1, true), material);
  scene.add(ball, stick);
  return { ball, stick, joint, parent: JOINT_PARENT[joint] };
});
const thing = new THREE.Mesh(new THREE.BufferGeometry(), new THREE.MeshStandardMaterial({ roughness: 0.35 }));
thing.visible = false;
scene.add(thing);

// ---- the touch ----
let hand = 'right';
let hold;
let chosen;
function choose(name) {
  hold?.release();
  hold = undefined;
  chosen = THINGS[name];
  for (const button of document.querySelectorAll('[data-thing]')) {
    button.setAttribute('aria-pressed', String(button.dataset.thing === name));
  }
  thing.visible = chosen !== undefined;
  if (!chosen) return;
  const { shape, position, orientation, stiffness, geometry, colour } = chosen;
  thing.geometry = geometry;
  thing.material.color.set(colour);
  hold = client.hold({ hand, space: 'palm', shape, position, orientation, stiffness });
}
for (const button of document.querySelectorAll('[data-thing]')) {
  button.addEventListener('click', () => choose(button.dataset.thing));
}

/** Arming is a deliberate act: the button must be held for a second. */
let arming;
const stopArming = () => clearTimeout(arming);
const startArming = () => {
  stopArming();
  arming = setTimeout(() => client.arm(hand).catch(say), 1000);
};
$('arm').addEventListener('pointerdown', startArming);
$('arm').addEventListener('keydown', (event) => {
  if ((event.key === ' ' || event.key === 'Enter') && !event.repeat) startArming();
});
for (const type of ['pointerup', 'pointerleave', 'keyup', 'blur'])
  $('arm').addEventListener(type, stopArming);
const disarm = () => client.disarm().catch(say);
$('disarm').addEventListener('click', disarm);
addEventListener('keydown', (event) => event.key === 'Escape' && disarm());

// ---- what the service says ----
const say = (error) => {
  $('state').textContent = error.message;
};
let felt = {};
client.on('resistance', (report) => {
  felt = report.fingers;
});
client.on('error', say);
client.on('state', ({ state, reason }) => reason && state !== 'open' && say({ message: reason }));
client.on('welcome', ({ hands }) => {
  const side = hands[0]?.hand ?? 'right';
  const changed = side !== hand;
  hand = side;
  if (chosen === undefined || changed) choose('ball');
});

// ---- every frame ----
const a = new THREE.Vector3();
const b = new THREE.Vector3();
const up = new THREE.Vector3(0, 1, 0);
function draw(timeMs) {
  requestAnimationFrame(draw);
  const { clientWidth: width, clientHeight: height } = renderer.domElement.parentElement;
  renderer.setSize(width, height, false);
  renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
  camera.aspect = width / height;
  const far = 0.5 * Math.max(1, 0.9 / camera.aspect);
  camera.position.set((hand === 'left' ? 0.75 : -0.75) * far, -0.35 * far, -0.65 * far).add(middle);
  camera.lookAt(middle);
  camera.updateProjectionMatrix();
  const pose = client.poseAt(hand, timeMs);
  if (pose) place(pose);
  renderer.render(scene, camera);
}
function place(pose) {
  for (const { ball, stick, joint, parent } of bones) {
    a.fromArray(pose.poses, joint * 8);
    ball.position.copy(a);
    ball.scale.setScalar(pose.poses[joint * 8 + 7]);
    stick.visible = parent >= 0;
    if (parent < 0) continue;
    b.fromArray(pose.poses, parent * 8);
    stick.position.copy(a).add(b).multiplyScalar(0.5);
    const radius = pose.poses[joint * 8 + 7];
    stick.scale.set(radius, Math.max(a.distanceTo(b), 1e-6), radius);
    stick.quaternion.setFromUnitVectors(up, a.sub(b).normalize());
  }
  // A finger that is stopped glows; a soft thing gives way as far as the fingers go into it.
  let deepest = 0;
  for (const [i, finger] of FINGERS.entries()) {
    const { effort = 0, contact } = felt[finger] ?? {};
    skin[i].emissive.setRGB(0.9 * effort, 0.25 * effort, 0);
    if (contact) deepest = Math.max(deepest, Math.min(contact.depthM, 0.012));
  }
  if (chosen) {
    thing.quaternion.fromArray(pose.orientation('palm'));
    thing.position.fromArray(chosen.position).applyQuaternion(thing.quaternion);
    thing.position.add(a.fromArray(pose.position('palm')));
    if (chosen.orientation) thing.quaternion.multiply(new THREE.Quaternion(...chosen.orientation));
    const give = chosen.stiffness ? deepest / 0.032 : 0;
    thing.scale.set(1 + give / 3, 1 - give, 1 + give / 3);
  }
  const touch = hold ? `${hold.state}${hold.error ? `: ${hold.error.message}` : ''}` : 'empty';
  $('state').textContent = pose.valid ? `${hand} hand, ${touch}` : `${hand} hand: ${pose.reason}`;
}
requestAnimationFrame(draw);
