import type { PerspectiveCamera } from 'three';

export const VIEWS = ['back', 'palm', 'thumb', 'top'] as const;
export type View = (typeof VIEWS)[number];

export const VIEW_LABEL: Record<View, string> = { back: 'Back', palm: 'Palm', thumb: 'Side', top: 'Tips' };
/** Azimuth and elevation, rad; azimuth 0 looks at the back of the hand. */
const ANGLES: Record<View, readonly [number, number]> = {
  back: [0, 0.12],
  palm: [Math.PI, 0.12],
  thumb: [-Math.PI / 2, 0.12],
  top: [0, 1.35],
};
const MOST_ELEVATION = 1.5;
const TURN_PER_PIXEL = 0.008;
const TURN_PER_KEY = 0.15;
const NEAR_M = 0.12;
const FAR_M = 1.5;

/** Turns the camera around the hands: drag, wheel, two fingers, arrow keys. */
export interface Orbit {
  /** False while something else is dragged. */
  enabled: boolean;
  azimuth: number;
  view(view: View): void;
  /** Places the camera; `reachM` is what must be seen, across and along. */
  place(camera: PerspectiveCamera, reachM: { width: number; height: number }, targetY: number): void;
}

export function createOrbit(element: HTMLElement, changed: () => void): Orbit {
  const pointers = new Map<number, { x: number; y: number }>();
  let elevation = ANGLES.back[1];
  let zoom = 1;
  const orbit: Orbit = {
    enabled: true,
    azimuth: ANGLES.back[0],
    view(view) {
      [orbit.azimuth, elevation] = ANGLES[view];
      zoom = 1;
      changed();
    },
    place(camera, reachM, targetY) {
      const tangent = Math.tan((camera.fov * Math.PI) / 360);
      const fit = Math.max(reachM.height / (2 * tangent), reachM.width / (2 * tangent * camera.aspect));
      // In a tall and narrow picture two hands fit from further away only.
      const distance = Math.min(Math.max(FAR_M, fit), Math.max(NEAR_M, fit / zoom));
      const flat = Math.cos(elevation) * distance;
      camera.position.set(
        Math.sin(orbit.azimuth) * flat,
        targetY + Math.sin(elevation) * distance,
        Math.cos(orbit.azimuth) * flat,
      );
      camera.lookAt(0, targetY, 0);
    },
  };

  const turn = (azimuth: number, elevate: number) => {
    orbit.azimuth += azimuth;
    elevation = Math.min(MOST_ELEVATION, Math.max(-MOST_ELEVATION, elevation + elevate));
    changed();
  };
  const scale = (factor: number) => {
    zoom = Math.min(4, Math.max(0.4, zoom * factor));
    changed();
  };
  const spread = (): number => {
    const [a, b] = [...pointers.values()];
    return Math.hypot(a.x - b.x, a.y - b.y);
  };

  element.addEventListener('pointerdown', (event) => {
    if (!orbit.enabled) return;
    pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    element.setPointerCapture(event.pointerId);
  });
  element.addEventListener('pointermove', (event) => {
    const last = pointers.get(event.pointerId);
    if (!last || !orbit.enabled) return;
    const before = pointers.size === 2 ? spread() : 0;
    const [x, y] = [event.clientX - last.x, event.clientY - last.y];
    last.x = event.clientX;
    last.y = event.clientY;
    if (pointers.size === 2 && before > 0) scale(spread() / before);
    else turn(-x * TURN_PER_PIXEL, y * TURN_PER_PIXEL);
  });
  for (const type of ['pointerup', 'pointercancel'] as const) {
    element.addEventListener(type, (event) => void pointers.delete(event.pointerId));
  }
  element.addEventListener(
    'wheel',
    (event) => {
      event.preventDefault();
      scale(Math.exp(-event.deltaY * 0.001));
    },
    { passive: false },
  );
  element.addEventListener('keydown', (event) => {
    const step = TURN_PER_KEY;
    if (event.key === 'ArrowLeft') turn(-step, 0);
    else if (event.key === 'ArrowRight') turn(step, 0);
    else if (event.key === 'ArrowUp') turn(0, step);
    else if (event.key === 'ArrowDown') turn(0, -step);
    else if (event.key === '+' || event.key === '=') scale(1.15);
    else if (event.key === '-') scale(1 / 1.15);
    else return;
    event.preventDefault();
  });
  return orbit;
}
