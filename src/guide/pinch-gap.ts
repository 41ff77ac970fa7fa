import type { GloveProfile } from '../config/schema.js';
import { createPoses, forwardKinematics } from '../hand/forward.js';
import { FINGER_BASE, POSE_STRIDE } from '../hand/joints.js';
import type { Skeleton } from '../hand/skeleton.js';
import { MAX_CHANNELS } from '../protocol/link-table.js';
import { createSensing, type Sensing } from '../sensing/sensing.js';

const THUMB_TIP = FINGER_BASE[1] - 1;
const INDEX_TIP = FINGER_BASE[2] - 1;

/**
 * Tries a profile out on one reading: how far apart are thumb and index tip, skin to skin, mm?
 * @param now the sensing in use: what the glove sends, and how its hand closes
 */
export function pinchGapMm(
  glove: GloveProfile,
  now: Pick<Sensing, 'channels' | 'closing'>,
  skeleton: Skeleton,
  counts: Uint16Array,
): number {
  const trial = createSensing({
    glove,
    channelRoles: now.channels.map(({ role }) => role),
    closing: now.closing,
  });
  const channels = new Uint16Array(MAX_CHANNELS);
  channels.set(counts);
  trial.update({ seq: 0, deviceTimeUs: 0, buttons: 0, channelCount: counts.length, channels }, 0);
  const poses = createPoses();
  forwardKinematics(skeleton, trial.dofs, poses);
  const [thumb, index] = [THUMB_TIP, INDEX_TIP].map((joint) => joint * POSE_STRIDE);
  const apart = Math.hypot(...[0, 1, 2].map((axis) => poses[thumb + axis] - poses[index + axis]));
  return (apart - skeleton.radii[THUMB_TIP] - skeleton.radii[INDEX_TIP]) * 1000;
}
