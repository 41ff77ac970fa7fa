import { signal } from '@preact/signals';
import { FINGERS } from '../../hand/joints.js';
import type { Live } from '../live.js';
import type { Part } from '../part.js';
import { createPanel } from '../part-panel.js';
import { ask } from '../routes.js';
import { everyWhileSeen } from '../seen.js';
import { createExtensionsCard } from './extensions-card.js';
import { Fact } from './fact.js';
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
type App = Status['apps'][number];

/** Part 6: who gets what, and who holds which finger. */
export function createAppsPart(live: Live): Part {
  const status = signal<Status | undefined>(undefined);
  const refusal = signal<string | undefined>(undefined);
  const openxr = createOpenxrCard();
  const extensions = createExtensionsCard();

  const Apps = () => (
    <>
      <p class="lead">{refusal.value ?? (status.value && leadOf(status.value))}</p>
      <ul class="apps" aria-label="Apps">
        {status.value?.apps.map((app) => (
          <AppCard
            key={app.app}
            of={app}
            own={live.client.welcome?.app === app.app}
            holds={holdsOf(live, app.app)}
          />
        ))}
      </ul>
      <openxr.Card />
      <extensions.Card />
    </>
  );
  const update = () => {
    openxr.update();
    extensions.update();
    ask<Status>('GET', '/health').then(
      (answer) => {
        refusal.value = undefined;
        status.value = answer;
      },
      ({ message }: Error) => {
        refusal.value = message;
      },
    );
  };
  let rest = () => {};
  return {
    panel: createPanel('apps', 'Apps', <Apps />),
    show(shown) {
      rest();
      if (!shown) return;
      update();
      rest = everyWhileSeen(PERIOD_MS, update);
    },
  };
}

function leadOf({ version, uptimeS, apps }: Status): string {
  const minutes = Math.floor(uptimeS / 60);
  const count = ['No app is', 'One app is'][apps.length] ?? `${apps.length} apps are`;
  return `${count} connected. Service ${version}, up for ${minutes < 1 ? 'less than a minute' : `${minutes} min`}.`;
}

const holdsOf = (live: Live, app: string): string =>
  [...live.hands.values()]
    .flatMap(({ info, resistance }) =>
      FINGERS.filter((finger) => resistance?.fingers[finger]?.by === app).map(
        (finger) => `${info.hand} ${finger}`,
      ),
    )
    .join(', ');

const rateText = ({ hand, rateHz }: App['rates'][number]): string =>
  `${hand} ${rateHz > 0 ? `${Math.round(rateHz)} Hz` : 'every sample'}`;

function AppCard({ of, own, holds }: { of: App; own: boolean; holds: string }) {
  const { app, name, encoding, streams, rates, dropped, behind } = of;
  const poses = streams.includes('joints') ? rates.map(rateText).join(', ') : '';
  return (
    <li class="card app" data-app={app}>
      <h3>{`${name ?? app}${own ? ' (this page)' : ''}`}</h3>
      <dl class="facts">
        <Fact term="Poses" text={poses || 'none'} />
        <Fact term="Streams" text={streams.join(', ') || 'none'} />
        <Fact term="Encoding" text={encoding} />
        <Fact term="Holds" text={holds || 'no finger'} />
        <Fact term="Dropped" text={`${dropped}${behind ? ', behind now' : ''}`} />
        <Fact term="Id" text={app} />
      </dl>
    </li>
  );
}
