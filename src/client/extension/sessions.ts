import type { Client } from '../client.js';
import { wearGloves, type XRSessionLike } from '../webxr.js';

/** What is used of `navigator.xr`. */
export interface XRSystemLike {
  requestSession?: RequestSession;
  offerSession?: RequestSession;
}
type RequestSession = (mode: string, options?: SessionOptions) => Promise<Session>;
interface SessionOptions {
  requiredFeatures?: string[];
  optionalFeatures?: string[];
}
type Session = XRSessionLike & {
  readonly enabledFeatures?: readonly string[];
  addEventListener(type: 'end', listener: () => void): void;
};

const HANDS = 'hand-tracking';
/** A browser without hands is asked again without them, if gloves are there by then. */
const GLOVES_WITHIN_MS = 1500;

const taken = new WeakSet<object>();

/**
 * Gives gloves to the sessions that a page begins, if it asks for hands. All else stays as the browser has it.
 * @param connectGloves called for each session
 */
export function takeOver(xr: XRSystemLike, connectGloves: () => Client): void {
  if (taken.has(xr)) return;
  taken.add(xr);
  for (const name of ['requestSession', 'offerSession'] as const) {
    const own = xr[name];
    if (typeof own !== 'function') continue;
    const value: RequestSession = (mode, options) =>
      wantsHands(mode, options)
        ? withGloves(own.bind(xr), mode, options, connectGloves())
        : own.call(xr, mode, options);
    Object.defineProperty(xr, name, { value, configurable: true, writable: true });
  }
}

function wantsHands(mode: string, options: SessionOptions | undefined): options is SessionOptions {
  if (mode === 'inline') return false;
  return (
    listOf(options?.requiredFeatures).includes(HANDS) || listOf(options?.optionalFeatures).includes(HANDS)
  );
}
/** A page may pass anything. */
const listOf = (features: unknown): unknown[] => (Array.isArray(features) ? features : []);

async function withGloves(
  own: RequestSession,
  mode: string,
  options: SessionOptions,
  client: Client,
): Promise<Session> {
  // Whatever happens to the gloves is none of the page's console.
  client.on('error', () => {});
  let session: Session;
  try {
    session = await own(mode, options).catch(async (error: unknown) => {
      const lacksHands =
        (error as { name?: string } | null)?.name === 'NotSupportedError' &&
        listOf(options.requiredFeatures).includes(HANDS);
      if (!lacksHands || !(await hasGloves(client))) throw error;
      return own(mode, handsOptional(options));
    });
  } catch (error) {
    client.close();
    throw error;
  }
  wearGloves(session, client);
  showFeature(session, client);
  session.addEventListener('end', () => client.close());
  return session;
}

const handsOptional = (options: SessionOptions): SessionOptions => ({
  ...options,
  requiredFeatures: options.requiredFeatures?.filter((feature) => feature !== HANDS) ?? [],
  optionalFeatures: [...(options.optionalFeatures ?? []), HANDS],
});

const isLive = (client: Client): boolean =>
  client.pose('left')?.valid === true || client.pose('right')?.valid === true;

function hasGloves(client: Client): Promise<boolean> {
  return new Promise((resolve) => {
    const done = (there: boolean): void => {
      off();
      clearTimeout(timer);
      resolve(there);
    };
    const timer = setTimeout(() => done(false), GLOVES_WITHIN_MS);
    const off = client.on('joints', ({ valid }) => valid && done(true));
    if (isLive(client)) done(true);
  });
}

/** While gloves are there, the session says that it has hands: pages look there before they look for them. */
function showFeature(session: Session, client: Client): void {
  const own = Object.getOwnPropertyDescriptor(Object.getPrototypeOf(session), 'enabledFeatures');
  if (!own?.get) return;
  Object.defineProperty(session, 'enabledFeatures', {
    configurable: true,
    enumerable: true,
    get: () => {
      const features = own.get?.call(session) as readonly string[] | undefined;
      if (!features || features.includes(HANDS) || !isLive(client)) return features;
      return Object.freeze([...features, HANDS]);
    },
  });
}
