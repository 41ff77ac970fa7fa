import type { ChannelProfile, GloveProfile } from '../config/schema.js';
import { type ClosingProfile, setCurl } from '../hand/closing.js';
import { DOF_COUNT, DOFS_PER_FINGER } from '../hand/dofs.js';
import { FINGERS } from '../hand/joints.js';
import type { ChannelRole } from '../protocol/link-table.js';
import { compileLookup, type Lookup } from './lookup.js';
import { type CountsFunction, centredModel, rangeModel, softClamp } from './range-model.js';
import {
  createStringModel,
  DEFAULT_HEIGHTS_MM,
  type StringModel,
  travelFromCountsMm,
} from './string-model.js';

/** What a channel drives: the whole finger, its abduction, one joint, or something that is not a finger. */
export type ChannelKind = 'curl' | 'splay' | 'joint' | 'arch' | 'wrist' | 'stick' | 'control';

export interface Channel {
  readonly role: ChannelRole;
  readonly kind: ChannelKind;
  /** Index into FINGERS, or -1. */
  readonly finger: number;
  /** Degree of freedom within the finger (0..3) for a joint; index 0..3 for a wrist quaternion; else 0. */
  readonly part: number;
  readonly profile: ChannelProfile;
  /** Position in the glove's samples; -1 when the glove does not send the channel. */
  readonly source: number;
  /** Counts -> 0..1 (curl, joint, arch, control) or -1..1 (splay, stick, wrist). */
  readonly lookup: Lookup;
  /** The calibrated ends with `inverted` applied. */
  readonly open: number;
  readonly closed: number;
  readonly string?: StringModel;
}

const JOINT_PART: Record<string, number> = { cmc: 0, mcp: 0, pip: 2, dip: 3, ip: 3 };
const WRIST_PARTS = ['qx', 'qy', 'qz', 'qw'];

/** Where a role belongs. `spare` belongs nowhere. */
export function placeOf(role: ChannelRole): { kind: ChannelKind; finger: number; part: number } | undefined {
  const [first, second] = role.split('.') as [string, string | undefined];
  const finger = (FINGERS as readonly string[]).indexOf(first);
  if (finger >= 0 && second === 'curl') return { kind: 'curl', finger, part: 0 };
  if (finger >= 0 && second === 'splay') return { kind: 'splay', finger, part: 1 };
  if (first === 'thumb' && second === 'mcp') return { kind: 'joint', finger, part: 2 };
  if (finger >= 0 && second) return { kind: 'joint', finger, part: JOINT_PART[second] };
  if (first === 'palm') return { kind: 'arch', finger: -1, part: 0 };
  if (first === 'wrist') return { kind: 'wrist', finger: -1, part: WRIST_PARTS.indexOf(second ?? '') };
  if (first === 'stick') return { kind: 'stick', finger: -1, part: second === 'y' ? 1 : 0 };
  if (role === 'spare') return undefined;
  return { kind: 'control', finger: -1, part: 0 };
}

/** Lowest value of a kind: channels with a middle run from -1. */
export const lowestOf = (kind: ChannelKind): number =>
  kind === 'splay' || kind === 'stick' || kind === 'wrist' ? -1 : 0;

/**
 * The channels of a profile, each with its calibration as a table, in the profile's order. A role that the
 * profile names twice counts once; a channel that is sent but not in the profile is passed over.
 * @param sent roles in the order of the samples
 * @throws TautlineError `profileInvalid` for a calibration curve that is not monotone
 */
export function compileChannels(
  glove: Pick<GloveProfile, 'channels'>,
  sent: readonly ChannelRole[],
  closing: ClosingProfile,
): Channel[] {
  const channels: Channel[] = [];
  for (const profile of glove.channels) {
    const place = placeOf(profile.role);
    if (!place || channels.some((channel) => channel.role === profile.role)) continue;
    const [open, closed] = profile.inverted ? [profile.closed, profile.open] : [profile.open, profile.closed];
    const { f, string } = modelOf(profile, place, open, closed, closing);
    const lowest = lowestOf(place.kind);
    const lookup = compileLookup(profile.bits, (counts) => softClamp(f(counts), lowest, 1));
    channels.push({
      role: profile.role,
      ...place,
      profile,
      source: sent.indexOf(profile.role),
      lookup,
      open,
      closed,
      ...(string && { string }),
    });
  }
  return channels;
}

function modelOf(
  profile: ChannelProfile,
  place: { kind: ChannelKind; finger: number },
  open: number,
  closed: number,
  closing: ClosingProfile,
): { f: CountsFunction; string?: StringModel } {
  if (lowestOf(place.kind) < 0) return { f: centredModel(open, closed, profile.centre) };
  if (profile.string && place.kind === 'curl' && open !== closed) {
    const geometry = { ...profile.string, heightsMm: profile.string.heightsMm ?? DEFAULT_HEIGHTS_MM };
    const string = createStringModel(geometry, closingAnglesOf(closing, place.finger));
    // The calibrated ends are surer than a ruler over a knuckle: the heights give the shape, the ends the scale.
    const scale = string.fullTravelMm / travelFromCountsMm(closed - open, profile.bits, geometry);
    // A measured curve knows what the geometry does not: how straight this potentiometer is.
    const f = profile.curve
      ? rangeModel(profile.role, open, closed, profile.curve)
      : (counts: number) => string.curlAt(scale * travelFromCountsMm(counts - open, profile.bits, geometry));
    return { f, string };
  }
  return { f: rangeModel(profile.role, open, closed, profile.curve) };
}

/** The three flexions of a finger along the closing profile: MCP, PIP, DIP, or the thumb's CMC, MCP, IP. */
export function closingAnglesOf(
  closing: ClosingProfile,
  finger: number,
): (curl: number, angles: Float64Array) => void {
  const dofs = new Float64Array(DOF_COUNT);
  const first = finger * DOFS_PER_FINGER;
  return (curl, angles) => {
    setCurl(closing, finger, curl, dofs);
    angles[0] = dofs[first];
    angles[1] = dofs[first + 2];
    angles[2] = dofs[first + 3];
  };
}
