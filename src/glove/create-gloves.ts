import type { Logger } from 'pino';
import type { FitStore } from '../config/fit-file.js';
import type { GloveProfile, Profile } from '../config/schema.js';
import { codecOf } from '../link/codec-of.js';
import type { Link } from '../link/link.js';
import { openLink } from '../link/open-link.js';
import { createTakenPorts } from '../link/taken-ports.js';
import { createGlove, type LiveGlove } from './glove.js';

export interface GlovesOptions {
  profile: Profile;
  /** Serial port instead of the profile's. */
  portOverride?: string;
  logger: Logger;
  /** Links instead of the profile's, for a replay. */
  replay?: (glove: GloveProfile) => Link;
  /** Fits of the profile. */
  fits?: FitStore;
}

/** A chain for each glove of a profile, not yet started. */
export function createGloves({ profile, portOverride, logger, replay, fits }: GlovesOptions): LiveGlove[] {
  const taken = createTakenPorts();
  const all: LiveGlove[] = [];
  for (const glove of profile.gloves) {
    const link =
      portOverride !== undefined && glove.link.kind === 'serial'
        ? { ...glove.link, path: portOverride, usb: undefined }
        : glove.link;
    const codec = codecOf(glove);
    const deps = { hand: glove.hand, codec, taken, onlyGlove: profile.gloves.length === 1 };
    const live = createGlove({
      profile,
      glove,
      link: replay?.(glove) ?? openLink(link, deps),
      codec,
      logger,
      fits,
      others: () => all,
    });
    all.push(live);
  }
  return all;
}
