// What every demo of forces has: who may arm, how to disarm, what went wrong; and a view that fits its window.
import * as THREE from 'three';

export const $ = (id) => document.getElementById(id);
/** Only what has changed, so that a reader is not interrupted. */
export const say = (line) => {
  if ($('state').textContent !== line) $('state').textContent = line;
};
export const prefersLessMotion = matchMedia('(prefers-reduced-motion: reduce)');

/** How firmly a finger is stopped now, 0..1: a stop may be set long before the finger is at it. */
export const stopped = ({ curl, stopAt, effort }) =>
  stopAt !== undefined && curl > stopAt - 0.02 ? effort : 0;

/** Only the wearer arms: an app says how, and holds as soon as it is so; anybody may disarm. */
export function offerDisarm(client) {
  const disarm = () => client.disarm().catch(({ message }) => say(message));
  $('disarm').addEventListener('click', disarm);
  addEventListener('keydown', ({ key }) => key === 'Escape' && disarm());
  client.on('error', ({ message }) => say(message));
  client.on('state', ({ state, reason }) => state === 'waiting' && say(reason));
}
/** @param hands that could be armed */
export function showHowToArm(client, hands) {
  const free = client.welcome?.hands.find(({ hand }) => hands.includes(hand) && !client.isArmed(hand));
  const line = free ? `Without force. To arm: ${free.howToArm}.` : '';
  if (shown === line) return;
  shown = line;
  // What the service writes as code stands between backticks.
  const parts = line
    .split('`')
    .map((text, i) =>
      i % 2 === 1 ? Object.assign(document.createElement('code'), { textContent: text }) : text,
    );
  $('how').replaceChildren(...parts);
}
let shown = '';

/**
 * A scene that is drawn at each frame.
 * @param place puts the camera, given the proportion of the picture
 * @param draw called before each picture, with the time it is shown and the seconds since the last
 */
export function createView(canvas, place, draw) {
  const renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true });
  const camera = new THREE.PerspectiveCamera(35, 1, 0.01, 10);
  const scene = new THREE.Scene();
  scene.add(new THREE.HemisphereLight(0xffffff, 0x8899aa, 3));
  const sun = new THREE.DirectionalLight(0xffffff, 1.5);
  sun.position.set(0.5, 2, 1);
  scene.add(sun);
  let beforeMs;
  function frame(timeMs) {
    requestAnimationFrame(frame);
    const { clientWidth: width, clientHeight: height } = canvas.parentElement;
    renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    renderer.setSize(width, height, false);
    camera.aspect = width / Math.max(1, height);
    place(camera, camera.aspect);
    camera.updateProjectionMatrix();
    draw(timeMs, Math.min(0.1, (timeMs - (beforeMs ?? timeMs)) / 1000));
    beforeMs = timeMs;
    renderer.render(scene, camera);
  }
  requestAnimationFrame(frame);
  return { scene, camera };
}
