import { type HandSide, JOINT_COUNT, JOINT_NAMES, JOINT_PARENT, WRIST } from '../hand/joints.js';
import type { Range } from './export-text.js';
import { createGlb } from './glb.js';
import { addRods } from './glb-rods.js';
import { addSkin } from './glb-skin.js';
import { addClip, collectTracks, unit } from './glb-tracks.js';
import type { Session } from './session.js';

/**
 * A session as glTF 2.0 animations, a clip a hand. Each hand is a tree of 26 nodes with the standard joints' names:
 * bones of one skinned mesh, or with a ball at every joint and a tube along every bone. Metres, +Y up, as in the poses.
 *
 * A hand of which an app knew the place moves through the world as it did. What was recorded while nobody knew its place
 * is then left out. Other hands stand side by side, each around its wrist. `extras.space` of a hand's node says which:
 * `world` or `wrist`; `extras.world` which world, as that app said: `local`, `localFloor`, `stage`, or `mixed`.
 */

export const GLB_FORMS = ['skin', 'rods'] as const;
export type GlbForm = (typeof GLB_FORMS)[number];

const HAND_GAP_M = 0.12;
type Colour = [number, number, number, number];
const RODS: Record<HandSide, Colour> = { left: [0.16, 0.45, 0.55, 1], right: [0.78, 0.45, 0.22, 1] };
const SKIN: Record<HandSide, Colour> = { left: [0.32, 0.5, 0.58, 1], right: [0.71, 0.47, 0.33, 1] };
const NAILS: Colour = [0.86, 0.76, 0.7, 1];

/** @throws TautlineError when the part has no valid pose, or is too long for one file */
export function exportGlb(
  session: Session,
  range: Range,
  generator: string,
  form: GlbForm = 'skin',
): Uint8Array {
  const tracks = collectTracks(session, range);
  const glb = createGlb(generator);
  const { nodes, scenes } = glb.json;
  const rods = form === 'rods' ? addRods(glb) : undefined;
  for (const [hand, track] of tracks) {
    const material = addMaterial(glb.json.materials, `${hand} hand`, (rods ? RODS : SKIN)[hand]);
    const children = Array.from({ length: JOINT_COUNT }, () => [] as number[]);
    const first = nodes.length;
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      const at = joint * 7;
      nodes.push({
        name: JOINT_NAMES[joint],
        translation: track.locals.slice(at, at + 3),
        rotation: unit(track.locals.slice(at + 3, at + 7)),
        children: children[joint],
        extras: { hand },
      });
      if (JOINT_PARENT[joint] >= 0) children[JOINT_PARENT[joint]].push(first + joint);
    }
    if (rods) rods.addTo(children, track, material);
    else {
      const nails = addMaterial(glb.json.materials, `${hand} nails`, NAILS);
      scenes[0].nodes.push(addSkin(glb, hand, track.skeleton, first, { skin: material, nails }));
    }
    // glTF permits no empty list.
    for (let joint = 0; joint < JOINT_COUNT; joint++) {
      if (children[joint].length === 0) delete (nodes[first + joint] as { children?: number[] }).children;
    }
    addClip(glb, hand, track, first);
    scenes[0].nodes.push(nodes.length);
    nodes.push({
      name: `${hand} hand`,
      // Side by side: each hand's own frame has its wrist at the origin. In the world, it is where it is.
      translation: [
        tracks.size === 1 || track.space === 'world' ? 0 : hand === 'left' ? -HAND_GAP_M : HAND_GAP_M,
        0,
        0,
      ],
      extras: { space: track.space, ...(track.world ? { world: track.world } : {}) },
      children: [first + WRIST],
    });
  }
  return glb.build();
}

function addMaterial(materials: object[], name: string, colour: Colour): number {
  materials.push({
    name,
    pbrMetallicRoughness: { baseColorFactor: colour, metallicFactor: 0, roughnessFactor: 0.7 },
  });
  return materials.length - 1;
}
