import type { AppPermission, StreamProfile } from '../config/schema.js';
import type { AppMessageType } from '../protocol/messages.js';
import type { Refusal } from '../protocol/refusals.js';

/** The permission that each message needs. Messages that are not listed are open to all: seeing, and letting go. */
const NEEDS: Partial<Record<AppMessageType, AppPermission>> = {
  resist: 'resist',
  touch: 'resist',
  pulse: 'resist',
  rezero: 'guide',
};

/** The permission that each HTTP route needs, by the first part of its path. Reading (GET) is open to all, except for recordings. */
const ROUTE_NEEDS: Record<string, AppPermission> = {
  record: 'record',
  replay: 'record',
  simulate: 'record',
  sessions: 'record',
  guide: 'guide',
  fits: 'guide',
  // Whoever leads a comparison chooses what the wearer feels.
  feel: 'resist',
  rezero: 'guide',
};
/** The name that stands for HTTP requests without proof. */
export const HTTP_APP = 'http';

/**
 * Who may do what. An app that gave its own token has proved its name. Any other name is what the app calls itself; a
 * name with a token in the profile cannot be used without that token.
 */
export interface Permissions {
  /** Whether the name may be used by an app that proved `proved`, or nothing. */
  mayBeCalled(name: string, proved: string | undefined): boolean;
  /** Whether an app that proved this name, or nothing, may arm in the wearer's place. */
  mayArm(proved: string | undefined): boolean;
  /** Undefined when the app may. Arming is decided separately, by `mayArm`. */
  refuseMessage(type: AppMessageType, name: string | undefined): Refusal | undefined;
  /** @param route as registered: the address itself can be written in several ways */
  refuseRequest(method: string, route: string, name: string | undefined): Refusal | undefined;
}

export function createPermissions({ permissions }: Pick<StreamProfile, 'permissions'>): Permissions {
  const apps = new Map(permissions.apps.map((app) => [app.name, app]));
  const may = (name: string | undefined, what: AppPermission): boolean =>
    ((name !== undefined && apps.get(name)?.may) || permissions.anyApp).includes(what);

  function refuse(name: string | undefined, what: AppPermission): Refusal | undefined {
    if (may(name, what)) return undefined;
    const who = name === undefined ? 'An app without a name' : JSON.stringify(name);
    return {
      code: 'notPermitted',
      message: `${who} may not ${VERB[what]}: add ${what} to its line in stream.permissions of the profile.`,
    };
  }

  return {
    mayArm: (proved) => proved !== undefined && apps.get(proved)?.may.includes('arm') === true,
    mayBeCalled: (name, proved) => proved === name || apps.get(name)?.token === undefined,
    refuseMessage(type, name) {
      const what = NEEDS[type];
      return what && refuse(name, what);
    },
    refuseRequest(method, route, name = HTTP_APP) {
      const [, first = '', second] = route.split('/');
      const what = Object.hasOwn(ROUTE_NEEDS, first) ? ROUTE_NEEDS[first] : undefined;
      const reads = method === 'GET' || method === 'HEAD';
      if (!what || method === 'OPTIONS' || (reads && !(first === 'record' && second === 'stream')))
        return undefined;
      return refuse(name, what);
    },
  };
}

const VERB: Record<AppPermission, string> = {
  resist: 'put forces on fingers',
  record: 'record, replay or remove sessions',
  arm: 'arm',
  guide: 'lead a check or a fit',
};
