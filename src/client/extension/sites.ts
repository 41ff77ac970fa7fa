/**
 * The sites that the user has switched on. The browser keeps them, as the pages that get our two scripts; it is the one
 * place where they stand.
 */
const SCRIPTS = [
  { id: 'page', js: ['page.js'], world: 'MAIN' },
  { id: 'bridge', js: ['bridge.js'], world: 'ISOLATED' },
] as const;
const IDS = SCRIPTS.map(({ id }) => id);

/** As a pattern of the browser: all pages of an origin. */
export const patternOf = (origin: string): string => `${origin}/*`;

export async function readSites(): Promise<string[]> {
  const [script] = await chrome.scripting.getRegisteredContentScripts({ ids: IDS });
  return (script?.matches ?? []).map((pattern) => pattern.slice(0, -2));
}

export async function switchSite(origin: string, on: boolean): Promise<void> {
  const before = await readSites();
  const sites = before.filter((site) => site !== origin);
  if (on) sites.push(origin);
  const matches = sites.map(patternOf);
  if (matches.length === 0) {
    if (before.length > 0) await chrome.scripting.unregisterContentScripts({ ids: IDS });
    return;
  }
  const scripts = SCRIPTS.map(({ id, js, world }) => ({
    id,
    js: [...js],
    world,
    matches,
    runAt: 'document_start' as const,
    allFrames: true,
  }));
  if (before.length > 0) await chrome.scripting.updateContentScripts(scripts);
  else await chrome.scripting.registerContentScripts(scripts);
}

/** Gives the scripts to a page that is open already. */
export async function addToTab(tabId: number): Promise<void> {
  for (const { js, world } of SCRIPTS) {
    const target = { tabId, allFrames: true };
    await chrome.scripting.executeScript({ target, files: [...js], world, injectImmediately: true });
  }
}

/** The origin of an address that a page for headsets can have; undefined for the browser's own pages, files and the like. */
export function siteOf(url: string | undefined): string | undefined {
  if (url === undefined || !URL.canParse(url)) return undefined;
  const { protocol, hostname, origin } = new URL(url);
  // WebXR is for secure contexts: https, and this machine.
  const isHere = hostname === 'localhost' || hostname === '127.0.0.1';
  return protocol === 'https:' || (protocol === 'http:' && isHere) ? origin : undefined;
}
