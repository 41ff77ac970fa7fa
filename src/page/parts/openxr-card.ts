import { make, setAttribute, setText } from '../dom.js';
import { ask } from '../routes.js';

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
export function createOpenxrCard(): { element: HTMLElement; update(): Promise<void> } {
  const lead = make('p', { class: 'lead' });
  const problems = make('ul', { class: 'plain' });
  const list = make('ul', { class: 'apps', 'aria-label': 'OpenXR applications' });
  const element = make(
    'section',
    { class: 'openxr', 'aria-labelledby': 'openxr-title' },
    make('h2', { id: 'openxr-title' }, 'OpenXR applications'),
    lead,
    problems,
    list,
  );
  return {
    element,
    async update() {
      let answer: Answer;
      try {
        answer = await ask<Answer>('GET', '/openxr');
      } catch (error) {
        setText(lead, (error as Error).message);
        return;
      }
      const { registration, applications } = answer;
      setText(lead, leadOf(registration));
      setAttribute(lead, 'data-well', String(registration.loads));
      replace(
        problems,
        registration.problems.map((line) => make('li', { 'data-bad': '' }, line)),
      );
      const past = applications.filter(({ until }) => until !== undefined).slice(0, MOST_PAST);
      const shown = [...applications.filter(({ until }) => until === undefined), ...past];
      replace(list, shown.map(card));
    },
  };
}

function leadOf({ supported, loads, entries }: Answer['registration']): string {
  if (!supported) return 'There is no layer for this machine.';
  if (loads) return 'The layer is on: every OpenXR application that starts gets the hands of your gloves.';
  return entries.length === 0
    ? 'The layer is off. To give OpenXR applications your hands: tautline openxr on'
    : 'The layer is registered, and cannot be loaded.';
}

/** Only what has changed, so that a reader's place stays. */
function replace(parent: HTMLElement, children: HTMLElement[]): void {
  const same =
    children.length === parent.children.length &&
    children.every((one, i) => one.isEqualNode(parent.children[i]));
  if (!same) parent.replaceChildren(...children);
}

function card(application: Application): HTMLElement {
  const { program, app, runtime, runtimeVersion, until, served, focused, hands } = application;
  const fact = (term: string, text: string, bad = false) =>
    make('div', bad ? { 'data-bad': '' } : {}, make('dt', {}, term), make('dd', {}, text));
  const state =
    until !== undefined
      ? `Left at ${new Date(until).toLocaleTimeString()}`
      : !served
        ? 'Not served, by openxr.allow or openxr.deny of the profile'
        : focused
          ? 'Running, in focus'
          : 'Running, not in focus';
  return make(
    'li',
    { class: 'card app', 'data-program': program },
    make('h3', {}, app ?? program),
    make(
      'dl',
      { class: 'facts' },
      fact('State', state),
      fact('Program', program),
      fact('Runtime', runtime === undefined ? 'not known yet' : `${runtime} ${runtimeVersion ?? ''}`.trim()),
      ...hands.map((hand) =>
        fact(hand.hand === 'left' ? 'Left hand' : 'Right hand', handText(hand), isTrouble(hand)),
      ),
    ),
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
