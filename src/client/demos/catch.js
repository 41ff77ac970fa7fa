// Throw a ball from hand to hand. The service says when fingers carry it; flight.js says where it flies.
import { connect } from 'tautline/client';
import * as THREE from 'three';
import { createCapsuleHand } from './capsule-hand.js';
import { createFlight } from './flight.js';
import { $, createView, offerDisarm, prefersLessMotion, say, showHowToArm, stopped } from './frame.js';

const client = connect({ url: location.origin, app: 'Catch demo', surface: true });
offerDisarm(client);

const RADIUS = 0.033;
/** Where a ball lies in a hand: in the frame of the palm, whose y is the back of the hand. */
const IN_PALM = [0, -0.046, -0.02];
/** The hands lie palm up, their fingers raised a little. */
const PALM_UP = new THREE.Quaternion().setFromEuler(new THREE.Euler(0.3, 0, Math.PI, 'XYZ'));
const STATION = { left: -0.18, right: 0.18 };
/** So far can a hand be moved from there, and so far does a key move it. */
const REACH = 0.25;
const STEP = 0.02;
/** From here on the ball is a shape that the hand can meet. */
const NEAR = 0.16;

const flight = createFlight(RADIUS);
const hands = new Map();
let chosen;

// ---- what is drawn ----
const ballMesh = new THREE.Mesh(
  new THREE.SphereGeometry(RADIUS, 48, 32),
  new THREE.MeshStandardMaterial({ color: 0xd8552b, roughness: 0.4 }),
);
const stripe = new THREE.Mesh(
  new THREE.TorusGeometry(RADIUS, 0.003, 12, 64),
  new THREE.MeshStandardMaterial({ color: 0xfffdf8, roughness: 0.5 }),
);
ballMesh.add(stripe);
const shadow = new THREE.Mesh(
  new THREE.CircleGeometry(1, 40),
  new THREE.MeshBasicMaterial({ color: 0, transparent: true, opacity: 0.25 }),
);
shadow.rotation.x = -Math.PI / 2;
const floor = new THREE.Mesh(
  new THREE.CircleGeometry(0.6, 64),
  new THREE.MeshStandardMaterial({ color: 0x6f8a94, roughness: 1, transparent: true, opacity: 0.35 }),
);
floor.rotation.x = -Math.PI / 2;
floor.position.y = flight.floor;
shadow.position.y = flight.floor + 0.002;
const { scene, camera } = createView(
  $('view'),
  (camera, aspect) => {
    const far = Math.max(1, 1.1 / aspect);
    camera.position.set(0, 0.1 + 0.5 * far, 0.85 * far);
    camera.lookAt(0, 0.1, -0.08);
  },
  draw,
);
scene.add(ballMesh, shadow, floor);

function addHand(side) {
  const group = new THREE.Group();
  scene.add(group);
  hands.set(side, {
    side,
    group,
    drawn: createCapsuleHand(group),
    offset: new THREE.Vector3(),
    palm: new THREE.Vector3(),
    palmTurn: new THREE.Quaternion(),
    before: new THREE.Vector3(),
    velocity: new THREE.Vector3(),
    hold: undefined,
    carried: false,
    closed: 0,
    valid: false,
  });
  chosen ??= side;
  showChosen();
}

// ---- what the service says ----
client.on('welcome', ({ hands: there }) => {
  for (const { hand } of there) if (!hands.has(hand)) addHand(hand);
});
client.on('gestures', ({ hand: side, touches }) => {
  const hand = hands.get(side);
  if (!hand) return;
  const own = touches.find(({ by }) => by === client.welcome?.app);
  hand.carried = own?.carried ?? false;
});
client.on('resistance', ({ hand: side, fingers }) => {
  for (const [finger, felt] of Object.entries(fingers)) hands.get(side)?.drawn.glow(finger, stopped(felt));
});

// ---- moving a hand that no tracker places ----
function showChosen() {
  for (const button of document.querySelectorAll('[data-hand]')) {
    button.hidden = !hands.has(button.dataset.hand);
    button.setAttribute('aria-pressed', String(button.dataset.hand === chosen));
  }
}
for (const button of document.querySelectorAll('[data-hand]')) {
  button.addEventListener('click', () => {
    chosen = button.dataset.hand;
    showChosen();
  });
}
function move(side, x, y) {
  const { offset } = hands.get(side) ?? {};
  offset?.set(
    THREE.MathUtils.clamp(offset.x + x, -REACH, REACH),
    THREE.MathUtils.clamp(offset.y + y, -REACH, REACH),
    0,
  );
}
const ballBack = () => chosen && flight.put(chosen);
$('back').addEventListener('click', ballBack);
const ARROWS = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, STEP], ArrowDown: [0, -STEP] };
addEventListener('keydown', (event) => {
  if (event.key === ' ' && !(event.target instanceof HTMLButtonElement)) ballBack();
  else if (ARROWS[event.key]) move(chosen, ...ARROWS[event.key]);
  else return;
  event.preventDefault();
});
const view = $('view');
let dragged;
view.addEventListener('pointerdown', (event) => {
  const { x, width } = view.getBoundingClientRect();
  const isLeft = event.clientX - x < width / 2;
  const side = hands.has(isLeft ? 'left' : 'right') ? (isLeft ? 'left' : 'right') : chosen;
  if (side === undefined) return;
  dragged = side;
  chosen = side;
  showChosen();
  view.setPointerCapture(event.pointerId);
});
view.addEventListener('pointermove', ({ movementX, movementY }) => {
  if (dragged === undefined) return;
  const metres = (2 * camera.position.z * Math.tan((camera.fov * Math.PI) / 360)) / view.clientHeight;
  move(dragged, movementX * metres, -movementY * metres);
});
for (const type of ['pointerup', 'pointercancel']) {
  view.addEventListener(type, () => {
    dragged = undefined;
  });
}

// ---- every frame ----
const rest = new THREE.Vector3();
const inverse = new THREE.Quaternion();

/** Puts a hand where its tracker has it, or else at its station. */
function placeHand(hand, timeMs, seconds) {
  const pose = client.poseAt(hand.side, timeMs);
  hand.valid = pose?.valid ?? false;
  hand.group.visible = pose !== undefined;
  if (!pose) return;
  const { group } = hand;
  if (pose.space === 'world') {
    // The first place counts as the station, wherever the room has its origin.
    hand.origin ??= new THREE.Vector3().fromArray(pose.position('wrist'));
    group.quaternion.identity();
    group.position.set(STATION[hand.side], 0, 0.1).sub(hand.origin);
  } else {
    group.quaternion.copy(PALM_UP);
    group.position.set(STATION[hand.side], 0, 0.1).add(hand.offset);
  }
  group.updateMatrixWorld();
  hand.drawn.place(pose);
  hand.before.copy(hand.palm);
  hand.palm.fromArray(pose.position('palm')).applyMatrix4(group.matrixWorld);
  hand.palmTurn.fromArray(pose.orientation('palm')).premultiply(group.quaternion);
  if (seconds > 0) {
    // Smoothed over 50 ms: one frame of a mouse says little.
    const part = 1 - Math.exp(-seconds / 0.05);
    hand.velocity.lerp(hand.before.sub(hand.palm).divideScalar(-seconds), part);
  }
  const tip = rest.fromArray(pose.position('middle-finger-tip'));
  const length = tip.distanceTo(new THREE.Vector3().fromArray(pose.position('palm')));
  hand.closed = THREE.MathUtils.clamp(1 - (length - 0.05) / 0.07, 0, 1);
}

/** The ball as the hand may feel it: a shape before the palm while it is near, nothing when it is not. */
function feel(hand) {
  rest.fromArray(flight.ball.position).sub(hand.palm);
  const isNear = hand.valid && flight.ball.state !== 'fallen' && rest.length() < NEAR;
  if (!isNear) {
    hand.hold?.release();
    hand.hold = undefined;
    hand.carried = false;
    return;
  }
  inverse.copy(hand.palmTurn).invert();
  const touch = {
    space: 'palm',
    shape: { kind: 'sphere', radius: RADIUS },
    position: rest.applyQuaternion(inverse).toArray(),
    stiffness: 900,
    friction: 0.8,
    // Without force, the service still says what the fingers would carry.
    effort: client.isArmed(hand.side) ? 1 : 0,
  };
  if (hand.hold) hand.hold.move(touch);
  else hand.hold = client.hold({ hand: hand.side, ...touch });
}

function handNow(hand) {
  const lies = new THREE.Vector3().fromArray(IN_PALM).applyQuaternion(hand.palmTurn).add(hand.palm);
  return {
    rest: lies.toArray(),
    up: new THREE.Vector3(0, -1, 0).applyQuaternion(hand.palmTurn).toArray(),
    velocity: hand.velocity.toArray(),
    closed: hand.closed,
    carried: hand.carried,
  };
}

let spun = 0;
const WORDS = {
  lying: (hand) => `The ball lies in the ${hand} hand.`,
  held: (hand) => `The ${hand} hand holds the ball.`,
  flying: () => 'The ball flies.',
  fallen: () => 'The ball is on the floor.',
};
function draw(timeMs, seconds) {
  for (const hand of hands.values()) placeHand(hand, timeMs, seconds);
  const there = [...hands.values()].filter(({ valid }) => valid);
  flight.step(seconds, Object.fromEntries(there.map((hand) => [hand.side, handNow(hand)])));
  for (const hand of hands.values()) feel(hand);

  const { ball, score } = flight;
  ballMesh.visible = shadow.visible = there.length > 0;
  ballMesh.position.fromArray(ball.position);
  if (ball.state === 'flying' && !prefersLessMotion.matches) {
    spun += 6 * seconds;
    ballMesh.rotation.x = -spun;
  }
  shadow.position.x = ball.position[0];
  shadow.position.z = ball.position[2];
  shadow.scale.setScalar(RADIUS * (1 + 1.5 * Math.max(0, ball.position[1] - flight.floor)));

  const line = `Thrown ${score.throws}, caught ${score.catches}, dropped ${score.drops}`;
  if ($('score').textContent !== line) $('score').textContent = line;
  Object.assign(document.body.dataset, {
    ball: ball.state,
    spun,
    hands: ['left', 'right']
      .flatMap((side) => ['x', 'y'].map((axis) => hands.get(side)?.offset[axis] ?? 0))
      .join(' '),
  });
  showHowToArm(client, [...hands.keys()]);
  if (client.state !== 'open') return;
  if (there.length > 0) say(WORDS[ball.state]?.(ball.hand) ?? '');
  else if (hands.size === 0) say('No glove in the profile.');
  else for (const { side } of hands.values()) say(`${side} hand: ${client.pose(side)?.reason ?? 'waiting'}`);
}
