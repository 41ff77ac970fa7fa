import type { FastifyInstance } from 'fastify';
import { openxrSystem, type Registration, readRegistration } from '../install/openxr-registration.js';
import type { Hub } from './hub.js';
import type { OpenxrApp } from './openxr-apps.js';

/** What GET /openxr answers. */
export interface OpenxrAnswer {
  /** Whether the loader of this user has the layer; see openxr-registration.ts. */
  registration: Pick<Registration, 'supported' | 'loads' | 'entries' | 'problems'>;
  /** Those of now first, then those that have left since the service started. */
  applications: OpenxrApp[];
}

/** The page asks every second, and files do not change that fast. */
const REGISTRATION_FOR_MS = 5000;

export function addOpenxrRoute(app: FastifyInstance, hub: Hub): void {
  let read: Promise<Registration> | undefined;
  let readMs = Number.NEGATIVE_INFINITY;
  app.get('/openxr', async (_request, reply): Promise<OpenxrAnswer> => {
    const nowMs = performance.now();
    if (!read || nowMs - readMs > REGISTRATION_FOR_MS) {
      readMs = nowMs;
      // A variable that turns the layer off for this service turns it off for no application.
      read = readRegistration(openxrSystem({ env: withoutSwitches(process.env) }));
    }
    const { supported, loads, entries, problems } = await read;
    void reply.header('cache-control', 'no-store');
    return { registration: { supported, loads, entries, problems }, applications: hub.openxrApps() };
  });
}

const withoutSwitches = (env: NodeJS.ProcessEnv): NodeJS.ProcessEnv =>
  Object.fromEntries(Object.entries(env).filter(([name]) => !name.startsWith('TAUTLINE_OPENXR_OFF')));
