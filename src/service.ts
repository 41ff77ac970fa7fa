import { existsSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import type { Logger } from 'pino';
import { cautionsOf } from './config/cautions.js';
import type { Profile } from './config/schema.js';
import { createGlove } from './glove.js';
import { codecOf } from './link/codec-of.js';
import { openLink } from './link/open-link.js';
import { createTakenPorts } from './link/taken-ports.js';
import { addGuideRoutes } from './stream/guide-routes.js';
import { startStream } from './stream/server.js';

export interface ServiceOptions {
  profile: Profile;
  /** Where the profile came from: fits are kept beside it. None: fits are not kept. */
  profileFile?: string;
  /** Serial port in place of the profile's. */
  portOverride?: string;
  logger: Logger;
}

export interface Service {
  /** `ws://host:port/stream`, for apps. */
  readonly address: string;
  /** Frees every finger, says goodbye to apps and gloves, and resolves when all ports are free. */
  close(): Promise<void>;
}

const packageFile = fileURLToPath(new URL('../package.json', import.meta.url));
const pageDirectory = fileURLToPath(new URL('./page', import.meta.url));

/** The version of this program. */
export const version = (JSON.parse(readFileSync(packageFile, 'utf8')) as { version: string }).version;

/**
 * Starts everything that a profile names: a chain for each glove, one stream for all apps.
 * @throws TautlineError when the stream's address cannot be used; trouble with gloves is never thrown: their
 *   links are tried for ever, and say in the stream why they wait
 */
export async function startService({ profile, portOverride, logger }: ServiceOptions): Promise<Service> {
  for (const caution of cautionsOf(profile)) logger.warn(caution);
  const taken = createTakenPorts();
  const gloves = profile.gloves.map((glove) => {
    const link =
      portOverride !== undefined && glove.link.kind === 'serial'
        ? { ...glove.link, path: portOverride, usb: undefined }
        : glove.link;
    const codec = codecOf(glove);
    const deps = { hand: glove.hand, codec, taken, onlyGlove: profile.gloves.length === 1 };
    return createGlove({ profile, glove, link: openLink(link, deps), codec, logger });
  });
  // Apps first: whoever waits for the stream must not miss the gloves' first words.
  const stream = await startStream({
    gloves,
    profile: profile.stream,
    logger,
    version,
    routes: (app) => addGuideRoutes(app, gloves),
    ...(existsSync(pageDirectory) ? { page: pageDirectory } : {}),
  });
  for (const glove of gloves) glove.start();
  return {
    address: `${stream.address.replace('http', 'ws')}/stream`,
    async close() {
      // Fingers before apps: a slow goodbye must not hold a hand.
      await Promise.allSettled(gloves.map((glove) => glove.close()));
      await stream.close();
    },
  };
}
