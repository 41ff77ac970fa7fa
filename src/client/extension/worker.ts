import { type FromBridge, PORT_NAME, type ToWorker } from './messages.js';
import { streamAddress } from './service.js';
import { patternOf, readSites, siteOf, switchSite } from './sites.js';
import { openTunnel, type Tunnel } from './tunnel.js';

/** The extension's own world: holds the connections to the service, and decides which sites get one. */

const OFF = 'The site is switched off in the extension.';
const CROWDED = 'The site has too many connections to the service.';
/** For a page, its frames and its other tabs; the service has places for others, too. */
const MOST_TUNNELS = 8;
/** Tunnels of each site. */
const open = new Map<string, Set<Tunnel>>();

// Scripts in pages have no business with the secret.
void chrome.storage.local.setAccessLevel({ accessLevel: 'TRUSTED_CONTEXTS' });

chrome.runtime.onConnect.addListener((port) => {
  if (port.name !== PORT_NAME) return;
  const origin = port.sender?.origin;
  let tunnel: Tunnel | undefined;
  let left = false;
  port.onMessage.addListener((message) => tunnel?.receive(message as FromBridge));
  port.onDisconnect.addListener(() => {
    left = true;
    tunnel?.end();
    if (tunnel && origin !== undefined) open.get(origin)?.delete(tunnel);
  });
  void (async () => {
    const [sites, address] = await Promise.all([readSites(), streamAddress()]);
    if (left) return;
    if (origin === undefined || !sites.includes(origin)) {
      port.postMessage({ closed: [4001, OFF] });
      return;
    }
    const tunnels = open.get(origin) ?? new Set();
    if (tunnels.size >= MOST_TUNNELS) {
      port.postMessage({ closed: [4001, CROWDED] });
      return;
    }
    tunnel = openTunnel(port, address, new URL(origin).host);
    open.set(origin, tunnels.add(tunnel));
  })();
});

async function change(site: string, on: boolean): Promise<void> {
  await switchSite(site, on);
  if (on) return;
  for (const tunnel of open.get(site) ?? []) tunnel.end(OFF);
  open.delete(site);
}
/** One after the other: each begins with what the one before has left. */
let changing: Promise<unknown> = Promise.resolve();
function inTurn<T>(act: () => Promise<T>): Promise<T> {
  const result = changing.then(act);
  changing = result.catch(() => {});
  return result;
}

// From our own windows alone: their address is that of the extension.
chrome.runtime.onMessage.addListener((message, { url }, answer) => {
  if (!url?.startsWith(chrome.runtime.getURL(''))) return undefined;
  const asked = message as ToWorker;
  void inTurn(async () => {
    if ('site' in asked && siteOf(asked.site) === asked.site) await change(asked.site, asked.on);
    return readSites();
  }).then(answer);
  return true;
});

// The user took a permission back in the browser's own settings.
chrome.permissions.onRemoved.addListener(({ origins = [] }) => {
  if (origins.length === 0) return;
  void inTurn(async () => {
    for (const site of await readSites()) {
      const kept = await chrome.permissions.contains({ origins: [patternOf(site)] });
      if (!kept) await change(site, false);
    }
  });
});
