import { existsSync } from 'node:fs';
import type { Logger } from 'pino';
import { type FitStore, fitFileOf, openFits } from './config/fit-file.js';
import type { GloveProfile, Profile } from './config/schema.js';
import { createGloves } from './glove/create-gloves.js';
import { addFeelRoutes } from './glove/feel-routes.js';
import { addFromUseRoutes } from './glove/from-use-routes.js';
import { addGuideRoutes } from './glove/guide-routes.js';
import { addPortsRoute } from './glove/ports-route.js';
import type { Glove } from './glove/view.js';
import { version } from './install/version.js';
import type { Link } from './link/link.js';
import { logEvent } from './log/events.js';
import { packageFile } from './package-files.js';
import { addSessionRoutes } from './recording/routes.js';
import { createSessions } from './recording/sessions.js';
import { createShownGlove } from './recording/shown-glove.js';
import { cautionLine, cautionsOf } from './resistance/cautions.js';
import { addProfileRoutes } from './stream/profile-routes.js';
import { startStream } from './stream/server.js';

export interface ServiceOptions {
  profile: Profile;
  /** Where the profile came from: fits are kept beside it. None: fits are not kept. */
  profileFile?: string;
  /** Shown on the page where there is no such file: one that comes with the program. */
  shippedProfile?: string;
  /** Who wears the gloves; undefined: the wearer that the profile names, or else whoever was fitted last. */
  person?: string;
  /** Serial port in place of the profile's. */
  portOverride?: string;
  logger: Logger;
  /** Links in place of those of the profile, for a replay. */
  replay?: (glove: GloveProfile) => Link;
  /** Folder of the sessions that apps and pages record; none: they cannot. */
  sessionsFolder?: string;
  /** Folders for the key that the command line proves itself with (`userPaths().runtime`); none: it is left nowhere. */
  keyFolders?: readonly string[];
  /** File of the browser extensions that the wearer has paired; none: no extension can be. */
  pairingFile?: string;
}

export interface Service {
  /** `ws://host:port/stream`, for apps. */
  readonly address: string;
  /** What a tool of the wearer's proves itself with over HTTP (wearer-key.ts). */
  readonly wearerKey: string;
  readonly gloves: readonly Glove[];
  /** Resolves when the first app has subscribed. */
  readonly subscribed: Promise<void>;
  /** Frees every finger, says goodbye to apps and gloves, and resolves when all ports are free. */
  close(): Promise<void>;
}

/** Gloves of which the wearer in use has no fit, as fields and a line for the log. */
function unfittedOf(
  { person, entries }: FitStore,
  { gloves }: Profile,
): [{ glove: string; hand: string; person: string }, string][] {
  if (person === undefined) return [];
  const live = entries.filter(({ undone }) => !undone);
  const names = [...new Set(live.map((fit) => fit.person))].join(', ') || 'nobody yet';
  return gloves
    .filter(
      ({ name, hand }) =>
        !live.some((fit) => fit.person === person && fit.glove === name && fit.hand === hand),
    )
    .map(({ name, hand }) => [
      { glove: name, hand, person },
      `there is no fit of ${person} for the ${hand} hand, so the numbers of the profile are used (fitted: ${names}); make one with \`tautline fit --person ${person}\``,
    ]);
}

const demosDirectory = packageFile('dist/demos');
const pageDirectory = packageFile('dist/page');

export { version };

/**
 * Starts everything that a profile names: a chain for each glove, one stream for all apps.
 * @throws TautlineError when the stream's address cannot be used; trouble with gloves is never thrown: their
 *   links are retried without end, and say on the stream why they wait
 */
export async function startService(options: ServiceOptions): Promise<Service> {
  const { profile, profileFile, portOverride, logger, replay, sessionsFolder, keyFolders, pairingFile } =
    options;
  // A replay moves no servo.
  if (!replay)
    for (const caution of cautionsOf(profile)) logEvent(logger, 'profile.caution', {}, cautionLine(caution));
  const fits = openFits(profileFile && fitFileOf(profileFile), options.person ?? profile.wearer.name);
  if (!replay && options.person !== undefined) {
    for (const unfitted of unfittedOf(fits, profile)) logEvent(logger, 'fit.ofNobody', ...unfitted);
  }
  const gloves = createGloves({ profile, portOverride, logger, replay, fits });
  const shown = gloves.map(createShownGlove);
  const sessions = createSessions({
    folder: sessionsFolder,
    examplesFolder: packageFile('config/sessions'),
    shown,
    profile,
    logger,
    version,
  });
  // Apps first: whoever waits for the stream must not miss the gloves' first words.
  const stream = await startStream({
    gloves: shown,
    profile: profile.stream,
    openxr: profile.openxr,
    logger,
    version,
    ...(keyFolders ? { keyFolders } : {}),
    ...(pairingFile ? { pairingFile } : {}),
    routes(app) {
      addGuideRoutes(app, gloves);
      addFeelRoutes(app, gloves);
      addPortsRoute(app);
      addProfileRoutes(app, { file: replay ? undefined : profileFile, shippedFile: options.shippedProfile });
      addFromUseRoutes(app, gloves);
      addSessionRoutes(app, sessions);
    },
    ...(existsSync(demosDirectory) ? { demos: demosDirectory } : {}),
    ...(existsSync(pageDirectory) ? { page: pageDirectory } : {}),
  });
  // Only where it is asked for: nothing of it is loaded otherwise.
  const publisher =
    profile.fleet && !replay
      ? (await import('./fleet/publisher.js')).startPublisher({ profile, gloves, logger, version })
      : undefined;
  for (const glove of gloves) glove.start();
  return {
    address: `${stream.address.replace('http', 'ws')}/stream`,
    wearerKey: stream.wearerKey,
    gloves,
    subscribed: stream.subscribed,
    async close() {
      // Fingers before apps: a slow goodbye must not hold a hand.
      await Promise.allSettled(gloves.map((glove) => glove.close()));
      await Promise.all([sessions.close(), publisher?.close()]);
      await stream.close();
    },
  };
}
