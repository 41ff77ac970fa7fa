import type { ToWorker } from './messages.js';
import { keepPort, type PairingState, pairingState, readPort } from './service.js';
import { addToTab, patternOf, siteOf } from './sites.js';

/** What opens at the extension's button: this site on or off, and how the service is. */

const get = <T extends HTMLElement = HTMLElement>(id: string): T => document.getElementById(id) as T;
const site = get('site');
const note = get('site-note');
const toggle = get<HTMLButtonElement>('switch');
const service = get('service');
const pair = get<HTMLButtonElement>('pair');
const port = get<HTMLInputElement>('port');

const [tab] = await chrome.tabs.query({ active: true, currentWindow: true });
const origin = siteOf(tab?.url);

const askWorker = (message: ToWorker): Promise<string[]> => chrome.runtime.sendMessage<string[]>(message);

function showSites(sites: string[]): void {
  const on = origin !== undefined && sites.includes(origin);
  site.textContent = origin?.replace(/^https:\/\//, '') ?? '';
  toggle.hidden = origin === undefined;
  toggle.textContent = on ? 'Switch off' : 'Switch on for this site';
  toggle.toggleAttribute('data-main', !on);
  toggle.setAttribute('aria-pressed', String(on));
  if (origin === undefined) note.textContent = 'This is not a page that can have gloves.';
  else if (note.textContent === '') note.textContent = on ? 'On: its hands come from your gloves.' : 'Off.';
  toggle.onclick = () => void (on ? switchOff(origin as string) : switchOn(origin as string));
  const others = sites.filter((one) => one !== origin);
  get('sites-section').hidden = others.length === 0;
  get('sites').replaceChildren(...others.map(itemOf));
}

function itemOf(other: string): HTMLLIElement {
  const item = document.createElement('li');
  const name = document.createElement('span');
  name.textContent = other.replace(/^https:\/\//, '');
  const off = document.createElement('button');
  off.type = 'button';
  off.textContent = 'Switch off';
  off.setAttribute('aria-label', `Switch off ${name.textContent}`);
  off.onclick = () => void switchOff(other);
  item.append(name, off);
  return item;
}

async function switchOn(asked: string): Promise<void> {
  // First of all: the browser asks the user only right after a press.
  const granted = await chrome.permissions.request({ origins: [patternOf(asked)] });
  if (!granted) {
    note.textContent = 'Off. Without the permission of the browser, the site gets no gloves.';
    return;
  }
  const sites = await askWorker({ site: asked, on: true });
  note.textContent = 'On. If the site is already showing its world, reload the page.';
  if (tab?.id !== undefined) {
    await addToTab(tab.id).catch(() => {
      note.textContent = 'On. Reload the page.';
    });
  }
  showSites(sites);
}

async function switchOff(asked: string): Promise<void> {
  const sites = await askWorker({ site: asked, on: false });
  await chrome.permissions.remove({ origins: [patternOf(asked)] }).catch(() => false);
  if (asked === origin) note.textContent = 'Off.';
  showSites(sites);
}

const SAYS: Record<PairingState, string> = {
  paired: 'Connected: the service knows this extension.',
  asking: 'The service waits for the code to be typed.',
  unknown: 'The service is there. Pair it once, so that it lets this extension see your hands.',
  away: '',
};
async function showService(): Promise<void> {
  const state = await pairingState();
  const number = await readPort();
  service.textContent =
    state === 'away' ? `No service answers at 127.0.0.1:${number}. Start it: tautline run` : SAYS[state];
  pair.hidden = state !== 'unknown' && state !== 'asking';
  pair.toggleAttribute('data-main', !pair.hidden);
}

pair.addEventListener('click', () => {
  // A window of its own: this one closes as soon as another page is looked at.
  const url = chrome.runtime.getURL('pairing.html');
  void chrome.windows.create({ url, type: 'popup', width: 420, height: 520 });
});
get('port-form').addEventListener('submit', (event) => {
  event.preventDefault();
  void keepPort(port.value.trim()).then(async (well) => {
    if (well) await showService();
    else service.textContent = 'A port is a number from 1 to 65535.';
  });
});

port.value = String(await readPort());
showSites(await askWorker({ sites: true }));
await showService();
