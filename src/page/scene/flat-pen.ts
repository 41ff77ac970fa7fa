import { type PerspectiveCamera, Vector3 } from 'three';

/** A disc in the picture: where a ball in the scene is seen. */
export interface Disc {
  x: number;
  y: number;
  /** px. */
  radius: number;
  /** Distance from the camera along its view, m. */
  depthM: number;
}

/** Draws what the camera of the scene sees on a flat canvas, where a browser gives no WebGL. */
export interface FlatPen {
  readonly context: CanvasRenderingContext2D;
  readonly camera: PerspectiveCamera;
  /** @param at in the world, m; @param radiusM of a ball there */
  disc(at: Vector3, radiusM?: number): Disc;
  /** Clean paper in the size of the picture. */
  begin(): void;
  resize(width: number, height: number, pixelRatio: number): void;
}

/** Undefined where the browser gives no canvas either. */
export function createFlatPen(canvas: HTMLCanvasElement, camera: PerspectiveCamera): FlatPen | undefined {
  const context = canvas.getContext('2d');
  if (!context) return undefined;
  let [width, height, ratio] = [1, 1, 1];
  const seen = new Vector3();
  return {
    context,
    camera,
    disc(at, radiusM = 0) {
      seen.copy(at).applyMatrix4(camera.matrixWorldInverse);
      const depthM = -seen.z;
      const pxPerM = height / 2 / (Math.tan((camera.fov * Math.PI) / 360) * depthM);
      return {
        x: width / 2 + seen.x * pxPerM,
        y: height / 2 - seen.y * pxPerM,
        radius: radiusM * pxPerM,
        depthM,
      };
    },
    begin() {
      context.setTransform(ratio, 0, 0, ratio, 0, 0);
      context.clearRect(0, 0, width, height);
      context.lineJoin = context.lineCap = 'round';
    },
    resize(toWidth, toHeight, pixelRatio) {
      [width, height, ratio] = [toWidth, toHeight, pixelRatio];
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    },
  };
}

/** Points on the rim of a disc. */
const RIM = 24;

/** The outline that a rubber band around the discs has. */
export function bandAround(discs: readonly Disc[]): Path2D {
  const rim = discs.flatMap(({ x, y, radius }) =>
    Array.from({ length: RIM }, (_, i): [number, number] => {
      const angle = (2 * Math.PI * i) / RIM;
      return [x + radius * Math.cos(angle), y + radius * Math.sin(angle)];
    }),
  );
  const path = new Path2D();
  convexHull(rim).forEach(([x, y], i) => {
    if (i === 0) path.moveTo(x, y);
    else path.lineTo(x, y);
  });
  path.closePath();
  return path;
}

/** Convex hull, counter-clockwise, by A. M. Andrew's monotone chain (Information Processing Letters 9(5), 1979). */
export function convexHull(points: readonly [number, number][]): [number, number][] {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const half = (from: readonly [number, number][]): [number, number][] => {
    const chain: [number, number][] = [];
    for (const point of from) {
      while (chain.length > 1 && turn(chain[chain.length - 2], chain[chain.length - 1], point) <= 0)
        chain.pop();
      chain.push(point);
    }
    return chain.slice(0, -1);
  };
  return sorted.length < 3 ? sorted : [...half(sorted), ...half(sorted.reverse())];
}

const turn = (a: readonly number[], b: readonly number[], c: readonly number[]): number =>
  (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
