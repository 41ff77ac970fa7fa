import { signal } from '@preact/signals';
import { ask } from '../routes.js';
import { Fact } from './fact.js';

/** What GET /openxr answers, as far as it is shown. */
interface Answer {
  registration: { supported: boolean; loads: boolean; entries: unknown[]; problems: string[] };
  applications: Application[];
}
interface Application {
  program: string;
  app?: string;
  runtime?: string;
  runtimeVersion?: string;
  until?: string;
  served: boolean;
  focused: boolean;
  hands: Hand[];
}
interface Hand {
  hand: string;
  fingers: string;
  wrist?: string;
  inputs: boolean;
  ageUs?: number;
  why?: string;
}

const MOST_PAST = 3;

/** Applications that know nothing of gloves: whether they get the layer, and what serves their hands. */
export function createOpenxrCard() {
  const answer = signal<Answer | undefined>(undefined);
  const refusal = signal<string | undefined>(undefined);
  const Card = () => {
    const registration = answer.value?.registration;
    const lead = refusal.value ?? (registration && leadOf(registration));
    return (
      <section class="openxr" aria-labelledby="openxr-title">
        <h2 id="openxr-title">OpenXR applications</h2>
        <p class="lead" data-well={registration && String(registration.loads)}>
          {lead}
        </p>
        <ul class="plain">
          {registration?.problems.map((line) => (
            <li key={line} data-bad="">
              {line}
            </li>
          ))}
        </ul>
        <ul class="apps" aria-label="OpenXR applications">
          {shownOf(answer.value?.applications ?? []).map((one, i) => (
            <ApplicationCard key={`${one.program} ${one.until} ${i}`} {...one} />
          ))}
        </ul>
      </section>
    );
  };
  return {
    Card,
    update() {
      ask<Answer>('GET', '/openxr').then(
        (now) => {
          refusal.value = undefined;
          answer.value = now;
        },
        ({ message }: Error) => {
          refusal.value = message;
        },
      );
    },
  };
}

/** Those that run, and the last few that did. */
const shownOf = (applications: readonly Application[]): Application[] => [
  ...applications.filter(({ until }) => until === undefined),
  ...applications.filter(({ until }) => until !== undefined).slice(0, MOST_PAST),
];

function leadOf({ supported, loads, entries }: Answer['registration']): string {
  if (!supported) return 'There is no layer for this machine.';
  if (loads) return 'The layer is on: every OpenXR application that starts gets the hands of your gloves.';
  return entries.length === 0
    ? 'The layer is off. To give OpenXR applications your hands: tautline openxr on'
    : 'The layer is registered, and cannot be loaded.';
}

function stateOf({ until, served, focused }: Application): string {
  if (until !== undefined) return `Left at ${new Date(until).toLocaleTimeString()}`;
  if (!served) return 'Not served, by openxr.allow or openxr.deny of the profile';
  return focused ? 'Running, in focus' : 'Running, not in focus';
}

function ApplicationCard(application: Application) {
  const { program, app, runtime, runtimeVersion, hands } = application;
  return (
    <li class="card app" data-program={program}>
      <h3>{app ?? program}</h3>
      <dl class="facts">
        <Fact term="State" text={stateOf(application)} />
        <Fact term="Program" text={program} />
        <Fact
          term="Runtime"
          text={runtime === undefined ? 'not known yet' : `${runtime} ${runtimeVersion ?? ''}`.trim()}
        />
        {hands.map((hand) => (
          <Fact
            key={hand.hand}
            term={hand.hand === 'left' ? 'Left hand' : 'Right hand'}
            text={handText(hand)}
            bad={isTrouble(hand)}
          />
        ))}
      </dl>
    </li>
  );
}

/** A hand without a glove is no trouble: most wearers have one glove. */
const isTrouble = ({ why }: Hand) => why !== undefined && !why.startsWith('The profile has no glove');

const FINGERS: Record<string, string> = {
  glove: 'Glove',
  runtime: "Headset's own fingers",
  nobody: 'No hand',
  unasked: 'No hand asked for',
};
const WRISTS: Record<string, string> = { controller: 'wrist by controller', camera: 'wrist by camera' };

function handText({ fingers, wrist, inputs, ageUs, why }: Hand): string {
  const parts = [FINGERS[fingers] ?? fingers];
  if (fingers === 'glove' && wrist && WRISTS[wrist]) parts.push(WRISTS[wrist]);
  if (ageUs !== undefined) parts.push(`${(ageUs / 1000).toFixed(1)}\u00a0ms old`);
  if (inputs) parts.push('inputs from the glove');
  return `${parts.join(', ')}${why === undefined ? '' : `. ${why}`}`;
}
