import { type BufferGeometry, type Mesh, Vector3 } from 'three';
import type { FlatPen } from './flat-pen.js';

const OPACITY = 0.55;

/** The outline of a mesh as it is seen, as one path: its triangles that face the camera. */
function facing(pen: FlatPen, { geometry, matrixWorld }: Mesh<BufferGeometry>): Path2D {
  const { position } = geometry.attributes;
  const index = geometry.getIndex();
  const corner = new Vector3();
  const discs = Array.from({ length: position.count }, (_, i) =>
    pen.disc(corner.fromBufferAttribute(position, i).applyMatrix4(matrixWorld)),
  );
  const path = new Path2D();
  const corners = index ? index.count : position.count;
  for (let i = 0; i < corners; i += 3) {
    const [a, b, c] = [0, 1, 2].map((k) => discs[index ? index.getX(i + k) : i + k]);
    // Down is positive in the picture: seen from the front, the corners then go round the other way.
    if ((b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x) >= 0) continue;
    path.moveTo(a.x, a.y);
    path.lineTo(b.x, b.y);
    path.lineTo(c.x, c.y);
    path.closePath();
  }
  return path;
}

/** A thing in the hand, so that the hand is seen through it. */
export function drawFlatShape(pen: FlatPen, mesh: Mesh<BufferGeometry>, colour: string): void {
  const { context } = pen;
  context.globalAlpha = OPACITY;
  context.fillStyle = colour;
  context.fill(facing(pen, mesh));
  context.globalAlpha = 1;
}
