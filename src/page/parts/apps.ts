import { FINGERS } from '../../hand/joints.js';
import { make, setText } from '../dom.js';
import type { Live } from '../live.js';
import type { Part } from '../part.js';
import { ask } from '../routes.js';
import { everyWhileSeen } from '../seen.js';
import { createExtensionsCard } from './extensions-card.js';
import { createOpenxrCard } from './openxr-card.js';

const PERIOD_MS = 1000;

interface Status {
  version: string;
  uptimeS: number;
  apps: {
    app: string;
    name?: string;
    encoding: string;
    streams: string[];
    rates: { hand: string; rateHz: number }[];
    dropped: number;
    behind: boolean;
  }[];
}

/** Part 6: who gets what, and who holds which finger. */
export function createAppsPart(live: Live): Part {
  const service = make('p', { class: 'lead' });
  const list = make('ul', { class: 'apps', 'aria-label': 'Apps' });
  const openxr = createOpenxrCard();
  const extensions = createExtensionsCard();
  const panel = make(
    'section',
    { 'aria-labelledby': 'apps-title' },
    make('h2', { id: 'apps-title' }, 'Apps'),
    service,
    list,
    openxr.element,
    extensions.element,
  );
  let rest = () => {};

  const update = async () => {
    void openxr.update();
    void extensions.update();
    let status: Status;
    try {
      status = await ask<Status>('GET', '/health');
    } catch (error) {
      setText(service, (error as Error).message);
      return;
    }
    const { version, uptimeS, apps } = status;
    const minutes = Math.floor(uptimeS / 60);
    const count = ['No app is', 'One app is'][apps.length] ?? `${apps.length} apps are`;
    setText(
      service,
      `${count} connected. Service ${version}, up for ${minutes < 1 ? 'less than a minute' : `${minutes} min`}.`,
    );
    const cards = apps.map((app) => card(live, app));
    const same =
      cards.length === list.children.length && cards.every((one, i) => one.isEqualNode(list.children[i]));
    if (!same) list.replaceChildren(...cards);
  };

  return {
    name: 'apps',
    label: 'Apps',
    icon: '<path d="M4 4h7v7H4zM13 4h7v7h-7zM4 13h7v7H4zM13 13h7v7h-7z" fill="none" stroke="currentColor" stroke-width="2" stroke-linejoin="round"/>',
    panel,
    show(shown) {
      rest();
      if (!shown) return;
      void update();
      rest = everyWhileSeen(PERIOD_MS, () => void update());
    },
  };
}

function card(
  live: Live,
  { app, name, encoding, streams, rates, dropped, behind }: Status['apps'][number],
): HTMLElement {
  const own = live.client.welcome?.app === app;
  const holds = [...live.hands.values()].flatMap(({ info, resistance }) =>
    FINGERS.filter((finger) => resistance?.fingers[finger]?.by === app).map(
      (finger) => `${info.hand} ${finger}`,
    ),
  );
  const fact = (term: string, text: string) => make('div', {}, make('dt', {}, term), make('dd', {}, text));
  const poses = streams.includes('joints')
    ? rates
        .map(({ hand, rateHz }) => `${hand} ${rateHz > 0 ? `${Math.round(rateHz)} Hz` : 'every sample'}`)
        .join(', ')
    : 'none';
  return make(
    'li',
    { class: 'card app', 'data-app': app },
    make('h3', {}, `${name ?? app}${own ? ' (this page)' : ''}`),
    make(
      'dl',
      { class: 'facts' },
      fact('Poses', poses || 'none'),
      fact('Streams', streams.join(', ') || 'none'),
      fact('Encoding', encoding),
      fact('Holds', holds.join(', ') || 'no finger'),
      fact('Dropped', `${dropped}${behind ? ', behind now' : ''}`),
      fact('Id', app),
    ),
  );
}
