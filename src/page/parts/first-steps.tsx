import { signal } from '@preact/signals';
import type { FunctionComponent } from 'preact';
import type { PortsAnswer } from '../../glove/ports-route.js';
import { isSimulated, type Live, type LiveHand, recordingOf } from '../live.js';
import { ask } from '../routes.js';
import { sentence } from './words.js';

/** A glove that is being opened is not yet missing. */
const PATIENCE_MS = 2000;

/** What the sessions that come with the program show. */
const EXAMPLE_TEXT: Record<string, string> = {
  everyday: 'everyday moves, both hands',
  grasp: 'grasping a thing',
  faults: 'a glove with faults',
};

/** Whether there is a glove of the wearer's to look at. */
type Presence = 'there' | 'missing' | 'simulated';

function presenceOf(hands: readonly LiveHand[]): Presence {
  if (hands.some((hand) => recordingOf(hand) !== undefined)) return 'there';
  if (hands.length > 0 && hands.every(isSimulated)) return 'simulated';
  const isLive = ({ health, info }: LiveHand) => (health?.link ?? info.link).state === 'live';
  return hands.some(isLive) ? 'there' : 'missing';
}

/** For whoever has no glove, or has it not yet connected: what can be done at once, and how to connect one. */
export interface FirstSteps {
  /** Empty while there is nothing to say. */
  readonly Box: FunctionComponent;
  /** Shows it where a simulated glove is shown, which misses nothing. */
  toggle(): void;
}

export function createFirstSteps(live: Live): FirstSteps {
  const presence = signal<Presence>('there');
  const asked = signal(false);
  const examples = signal<readonly string[]>([]);
  const ports = signal<PortsAnswer['ports'] | undefined>(undefined);
  const looked = signal<readonly string[]>([]);
  const refusal = signal<string | undefined>(undefined);
  let missingSince: number | undefined;

  const act = (doing: Promise<unknown>) => {
    refusal.value = undefined;
    doing.then(
      () => {
        asked.value = false;
      },
      ({ message }: Error) => {
        refusal.value = message;
      },
    );
  };
  const lookForPorts = () =>
    void ask<PortsAnswer>('GET', '/ports', undefined, true).then(
      (answer) => {
        ports.value = answer.ports;
      },
      ({ message }: Error) => {
        refusal.value = message;
      },
    );
  const shown = () => live.connected && (presence.value === 'missing' || asked.value);

  const Card = () => {
    if (presence.value === 'there' && !asked.value) return null;
    const missing = presence.value === 'missing';
    if (!missing && !asked.value) return null;
    return (
      <article class="card">
        <h3>{missing ? 'No glove is connected' : 'This glove is simulated'}</h3>
        <p class="lead">
          {missing
            ? 'All of this page can be tried without one, on a hand that moves by itself.'
            : 'It moves by itself, and goes through all that a real one does. Watch a recording of a hand, or connect your own.'}
        </p>
        <div class="actions">
          {missing && (
            <button type="button" class="main" onClick={() => act(ask('POST', '/simulate'))}>
              Show a simulated glove
            </button>
          )}
          {examples.value.map((name) => {
            const plain = name.replace(/\.mcap$/, '');
            const path = `/replay?name=${encodeURIComponent(name)}&example=1&loop=1`;
            return (
              <button key={name} type="button" onClick={() => act(ask('POST', path))}>
                {`Replay ${EXAMPLE_TEXT[plain] ?? plain}`}
              </button>
            );
          })}
          {!missing && (
            <button
              type="button"
              onClick={() => {
                asked.value = false;
              }}
            >
              Close
            </button>
          )}
        </div>
        {refusal.value && (
          <p class="remedy" role="alert">
            {refusal.value}
          </p>
        )}
        <h4>To connect a glove</h4>
        <ol class="steps">
          <li>
            Plug it in, with a cable that carries data, and switch it on.{' '}
            {looked.value.map((line) => (
              <span key={line}>{line} </span>
            ))}
          </li>
          <li>
            <Ports ports={ports.value} look={lookForPorts} />
          </li>
          <li>
            Run <code>tautline new</code> in a terminal: it finds the glove, asks you for a few moves to learn
            which sensor is which, and writes its profile.
          </li>
          <li>
            Start the service again. This page comes back by itself; then check and fit the glove, under Fit.
          </li>
        </ol>
        <p class="lead">Try a new glove off the hand first.</p>
      </article>
    );
  };
  const Box = () => (
    <div class="first-steps">
      <Card />
    </div>
  );

  const update = () => {
    const hands = [...live.hands.values()];
    const now = presenceOf(hands);
    if (now !== 'missing' || !live.connected) missingSince = undefined;
    else missingSince ??= performance.now();
    const patient = missingSince !== undefined && performance.now() - missingSince < PATIENCE_MS;
    const wasShown = shown();
    presence.value = patient || !live.connected ? 'there' : now;
    // A glove came, or a recording.
    if (now === 'there') asked.value = false;
    const lines = hands.flatMap(({ health, info }) => {
      const link = health?.link ?? info.link;
      return link.state === 'live' || link.reason === undefined ? [] : [sentence(link.reason)];
    });
    if (lines.join() !== looked.value.join()) looked.value = lines;
    if (shown() && !wasShown) begin();
  };
  /** What is known only when it is asked for. */
  function begin(): void {
    lookForPorts();
    void ask<{ examples?: string[] }>('GET', '/sessions').then(
      (answer) => {
        examples.value = answer.examples ?? [];
      },
      () => {},
    );
  }
  live.changed.on(update);
  live.client.on('health', update);
  // Patience ends without an event.
  setInterval(update, PATIENCE_MS / 2);
  return {
    Box,
    toggle() {
      asked.value = !asked.value;
      if (asked.value) begin();
    },
  };
}

function Ports({ ports, look }: { ports: PortsAnswer['ports'] | undefined; look: () => void }) {
  const again = (
    <button type="button" class="small" onClick={look}>
      Look again
    </button>
  );
  if (ports === undefined) return <>Looking for serial ports…</>;
  if (ports.length === 0) {
    return (
      <>
        This machine has no serial port now: a cable that only charges shows none, and neither does Bluetooth.{' '}
        {again}
      </>
    );
  }
  return (
    <>
      Serial ports of this machine: {again}
      <ul>
        {ports.map(({ path, manufacturer, productName, vendor, product, heldBy }) => (
          <li key={path}>
            <code>{path}</code>
            {[
              [manufacturer, productName].filter(Boolean).join(' '),
              vendor && `USB ${vendor}:${product}`,
              heldBy.length > 0 && `held by ${heldBy.join(' and ')}`,
            ]
              .filter(Boolean)
              .map((part) => `, ${part}`)}
          </li>
        ))}
      </ul>
    </>
  );
}
