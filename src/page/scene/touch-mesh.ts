import {
  BoxGeometry,
  type BufferGeometry,
  CapsuleGeometry,
  Color,
  CylinderGeometry,
  type Group,
  Mesh,
  MeshStandardMaterial,
  Plane,
  Quaternion,
  Raycaster,
  SphereGeometry,
  Vector2,
  Vector3,
} from 'three';
import { mergeGeometries } from 'three/addons/utils/BufferGeometryUtils.js';
import type { Shape } from '../../protocol/messages.js';
import { colourOf, themeChanged } from '../theme.js';
import { drawFlatShape } from './flat-shape.js';
import type { Stage } from './stage.js';

/** The object that is touched, drawn in the hand's frame; dragged across the view by the pointer. */
export interface TouchMesh {
  show(group: Group | undefined): void;
  shape(shape: Shape): void;
  place(position: Vector3, orientation: readonly [number, number, number, number]): void;
}

/** A half-space has no end; so much of its surface is drawn, m. */
const WALL_M = 0.24;

export function createTouchMesh(stage: Stage, dragged: (position: Vector3) => void): TouchMesh {
  const material = new MeshStandardMaterial({ transparent: true, opacity: 0.55, roughness: 0.5 });
  const mesh = new Mesh<BufferGeometry, MeshStandardMaterial>(new SphereGeometry(), material);
  mesh.renderOrder = 2;
  const paint = () => {
    material.color = new Color(colourOf('--thing'));
  };
  themeChanged.on(paint);
  paint();
  stage.drawings.push((pen) => {
    if (mesh.parent) drawFlatShape(pen, mesh, colourOf('--thing'));
  });

  const ray = new Raycaster();
  const pointer = new Vector2();
  const plane = new Plane();
  const grip = new Vector3();
  const at = new Vector3();
  let dragging: number | undefined;

  const aim = ({ clientX, clientY }: PointerEvent) => {
    const box = stage.canvas.getBoundingClientRect();
    pointer.set(((clientX - box.left) / box.width) * 2 - 1, 1 - ((clientY - box.top) / box.height) * 2);
    ray.setFromCamera(pointer, stage.camera);
  };
  const { parentElement } = stage.canvas;
  // Before the camera's own dragging hears of it.
  parentElement?.addEventListener(
    'pointerdown',
    (event) => {
      if (!mesh.parent || event.target !== stage.canvas) return;
      aim(event);
      const [hit] = ray.intersectObject(mesh, false);
      if (!hit) return;
      event.stopPropagation();
      dragging = event.pointerId;
      parentElement.setPointerCapture(event.pointerId);
      plane.setFromNormalAndCoplanarPoint(stage.camera.getWorldDirection(at).negate(), hit.point);
      grip.copy(hit.point).sub(mesh.getWorldPosition(at));
    },
    { capture: true },
  );
  parentElement?.addEventListener('pointermove', (event) => {
    if (event.pointerId !== dragging || !mesh.parent) return;
    aim(event);
    if (!ray.ray.intersectPlane(plane, at)) return;
    dragged(mesh.parent.worldToLocal(at.sub(grip)));
  });
  for (const type of ['pointerup', 'pointercancel'] as const) {
    parentElement?.addEventListener(type, (event) => {
      if (event.pointerId === dragging) dragging = undefined;
    });
  }

  return {
    show(group) {
      if (group === undefined) mesh.removeFromParent();
      else if (mesh.parent !== group) group.add(mesh);
      stage.refresh();
    },
    shape(shape) {
      mesh.geometry.dispose();
      mesh.geometry = geometryOf(shape);
      stage.refresh();
    },
    place(position, orientation) {
      mesh.position.copy(position);
      mesh.quaternion.fromArray(orientation);
      stage.refresh();
    },
  };
}

function geometryOf(shape: Shape): BufferGeometry {
  switch (shape.kind) {
    case 'sphere':
      return new SphereGeometry(shape.radius, 40, 24);
    case 'box':
      return new BoxGeometry(...shape.size);
    case 'capsule':
      return new CapsuleGeometry(shape.radius, shape.length, 12, 32);
    case 'cylinder':
      return new CylinderGeometry(shape.radius, shape.radius, shape.length, 40);
    case 'compound':
      return mergeGeometries(
        shape.parts.map(({ shape: part, position = [0, 0, 0], orientation = [0, 0, 0, 1] }) =>
          geometryOf(part)
            .applyQuaternion(new Quaternion(...orientation))
            .translate(...position),
        ),
      );
    default:
      return new BoxGeometry(WALL_M, 0.002, WALL_M).translate(0, -0.001, 0) as BufferGeometry;
  }
}
