import type { Finger } from '../hand/joints.js';

/**
 * How one wearer wants forces to feel, as found by trial. Each of them takes away from what apps ask for, or leaves it as it
 * is; none adds to it, and the governor judges what is left.
 */
export interface WearerFeel {
  /** Part of the effort that apps ask for, above 0 and up to 1. */
  effort?: number;
  /** No surface feels harder than this, N/m. */
  stiffnessNPerM?: number;
  /** Part of the texture that apps ask for, 0..1. */
  texture?: number;
  /** Part of the strength and of the length of pulses, 0..1. */
  knock?: number;
  /** Curl by which a free string is paid out beyond the closed finger, in place of the profile's; of text gloves. */
  slack?: number;
}

export const FEELS = ['effort', 'stiffness', 'texture', 'knock', 'slack'] as const;
export type Feel = (typeof FEELS)[number];
/** Key of each in WearerFeel, its range and its unit. */
export const FEEL_RANGE: Record<Feel, { key: keyof WearerFeel; least: number; most: number; unit: string }> =
  {
    effort: { key: 'effort', least: 0.05, most: 1, unit: 'of the effort' },
    stiffness: { key: 'stiffnessNPerM', least: 20, most: 20_000, unit: 'N/m' },
    texture: { key: 'texture', least: 0, most: 1, unit: 'of the texture' },
    knock: { key: 'knock', least: 0.05, most: 1, unit: 'of the knock' },
    slack: { key: 'slack', least: 0, most: 0.5, unit: 'curl' },
  };

/** What the wearer does to feel each of them; FINGER stands for its name. */
const HOW_TO_FEEL: Record<Feel, string> = {
  effort: 'Close your FINGER against a wall half-way, and press.',
  stiffness: 'Close your FINGER against a surface half-way, and press into it.',
  texture: 'Close your FINGER to a surface half-way, and move along it.',
  knock: 'Close your FINGER again and again: it knocks on the way.',
  slack: 'Make a fist, and feel whether the string drags on your FINGER.',
};
export const howToFeel = (what: Feel, finger: Finger): string =>
  HOW_TO_FEEL[what].replace('FINGER', finger === 'thumb' ? 'thumb' : `${finger} finger`);

/** The name under which a trial asks for forces: what it asks is felt as it is. */
export const FEEL_TRIAL = 'the trial of feel';
