import type { HandSide } from '../../hand/joints.js';
import { button, make, setAttribute, setText } from '../dom.js';
import type { Ranges } from '../fit-change.js';
import { isSimulated, type Live, type LiveHand, recordingOf } from '../live.js';
import type { Lead, Part } from '../part.js';
import { ask } from '../routes.js';
import { everyWhileSeen, seen } from '../seen.js';
import { choice } from './controls.js';
import { createFeelCard } from './feel-card.js';
import { findings, type GuideReport, type Task } from './guide-findings.js';
import { createMeasuredCard } from './measured-card.js';
import { movePicture } from './move-picture.js';
import { createProfileCard } from './profile-card.js';
import { createSavedFits } from './saved-fits.js';
import { createServoBench } from './servo-bench.js';
import { sideText } from './words.js';

const TASK_TEXT: Record<Task, string> = { check: 'Check', fit: 'Fit', mount: 'Tracker' };
const RUNNING_MS = 80;
const IDLE_MS = 1000;
/** Angles are written so often: more cannot be read. */
const MEASURE_MS = 250;

/** Part 3: the wearer is led through moves, and sees what they show. */
export function createGuidePart(live: Live): Part & { lead: Lead } {
  let side: HandSide | undefined;
  let report: GuideReport | undefined;
  let visible = false;
  let timer: ReturnType<typeof setTimeout> | undefined;
  let asking = 0;

  const problem = make('p', { class: 'remedy', role: 'alert', hidden: true });
  const handChoice = make('div');
  const person = make('input', { type: 'text', id: 'person', maxlength: 40, autocomplete: 'off' });
  const check = button('Start the check', () => begin('check'), { class: 'main big' });
  const fit = button('Start the fit', () => begin('fit'), { class: 'main big' });
  person.addEventListener('keydown', (event) => {
    if (event.key === 'Enter' && !event.repeat && !fit.disabled) fit.click();
  });
  const mount = button('Fit the tracker', () => begin('mount'), { class: 'main big' });
  const why = make('p', { class: 'played', role: 'status', hidden: true });
  const start = startCards(why, check, person, fit, mount);

  const picture = make('div', { class: 'move-picture' });
  const count = make('p', { class: 'lead' });
  const prompt = make('p', { class: 'prompt', 'aria-live': 'assertive' });
  const progress = make('progress', { max: 1, 'aria-label': 'Progress of this move' });
  const follow = make('div', { class: 'follow', hidden: true }, make('i'));
  const next = button('Done, go on', () => void act(ask('POST', route('/guide/next'))), {
    class: 'main big',
  });
  const stop = button('Give up', () => void act(ask('POST', route('/guide/stop'))));
  const run = make(
    'div',
    { class: 'card guide-run', hidden: true },
    picture,
    count,
    prompt,
    follow,
    progress,
    make('div', { class: 'actions' }, next, stop),
  );
  const results = make('div', { class: 'guide-results', role: 'status', tabindex: -1 });
  const measured = createMeasuredCard();
  const servos = createServoBench(live);
  const feel = createFeelCard(live, () => void savedFits.update());
  const profileCard = createProfileCard();
  const savedFits = createSavedFits(
    (path) => act(ask<unknown>('POST', route(path))),
    () => ask('GET', route('/fits')),
  );

  const panel = make(
    'section',
    { 'aria-labelledby': 'fit-title' },
    make('h2', { id: 'fit-title' }, 'Fit and check'),
    problem,
    handChoice,
    run,
    results,
    start,
    servos.element,
    feel.element,
    savedFits.element,
    measured.element,
    profileCard,
  );

  /** So that this page leads what it begins, and nobody else does. */
  const leader = Math.random().toString(36).slice(2);
  const route = (path: string): string => {
    const hand = live.hands.size < 2 || side === undefined ? '' : `&hand=${side}`;
    return `${path}${path.includes('?') ? '&' : '?'}leader=${leader}${hand}`;
  };

  function begin(task: Task): void {
    const name = person.value.trim();
    const who = task !== 'check' && name !== '' ? `&person=${encodeURIComponent(name)}` : '';
    void act(ask('POST', route(`/guide?task=${task}&by=the+page${who}`))).then(() => {
      if (!run.hidden) next.focus();
    });
  }

  /** Does it, says what was refused, and looks again. */
  async function act(doing: Promise<unknown>): Promise<void> {
    try {
      await doing;
      problem.hidden = true;
    } catch (error) {
      problem.hidden = false;
      setText(problem, (error as Error).message);
    }
    await look();
  }

  /** Reads the guide, again and again while the part is shown. */
  async function look(): Promise<void> {
    clearTimeout(timer);
    const asked = ++asking;
    try {
      report = await ask<GuideReport>('GET', route('/guide'));
      if (asked !== asking) return;
      show(report);
    } catch (error) {
      if (asked !== asking) return;
      problem.hidden = false;
      setText(problem, (error as Error).message);
    }
    // Who leads a run goes on doing so.
    const running = report?.state === 'running';
    if (visible && (running || seen.value)) timer = setTimeout(look, running ? RUNNING_MS : IDLE_MS);
  }

  /** Ranges in use when the run began: what a fit of it changes. */
  let before: Ranges = new Map();
  let drawn = '';
  let found = '';
  function show({ state, move, hand, ...rest }: GuideReport): void {
    const running = state === 'running' && move !== undefined;
    // What has the focus goes away: whoever uses the keyboard goes on at what was found.
    const focused = [run, results].some((one) => one.contains(document.activeElement));
    run.hidden = !running;
    start.hidden = running;
    savedFits.element.hidden = running;
    servos.element.hidden = running;
    feel.element.hidden = running;
    profileCard.hidden = running;
    measured.element.hidden = running;
    results.hidden = running;
    if (running) {
      const { name, bar } = move;
      if (move.number === 1) before = rangesOf(live.hands.get(hand as HandSide));
      // Its pictures are of a hand that closes.
      picture.hidden = rest.task === 'mount';
      const key = `${name} ${hand} ${bar?.toFixed(2)}`;
      if (key !== drawn) picture.replaceChildren(movePicture(name, hand, bar));
      drawn = key;
      setText(count, `${TASK_TEXT[rest.task ?? 'check']}: move ${move.number} of ${move.count}`);
      setText(prompt, move.prompt);
      progress.value = move.part;
      follow.hidden = bar === undefined;
      (follow.firstChild as HTMLElement).style.transform = `scaleX(${bar ?? 0})`;
      found = '';
      return;
    }
    const text = JSON.stringify([state, rest]);
    if (text === found) return;
    found = text;
    results.replaceChildren(
      ...findings(
        { state, hand, ...rest },
        (part) => {
          void act(ask('POST', route(`/guide/accept${part === undefined ? '' : `?part=${part}`}`)));
        },
        before,
      ),
    );
    if (focused) results.focus();
    void savedFits.update();
  }

  function choose(chosen: HandSide): void {
    side = chosen;
    servos.choose(side);
    feel.choose(side);
    mayBegin();
    void look();
  }
  function sync(): void {
    const sides = [...live.hands.keys()];
    if (side === undefined || !live.hands.has(side)) side = sides[0];
    handChoice.hidden = sides.length < 2;
    if (handChoice.dataset.sides !== sides.join()) {
      setAttribute(handChoice, 'data-sides', sides.join());
      handChoice.replaceChildren();
      if (sides.length > 1 && side) {
        const options = sides.map((value) => ({ value, label: sideText(value) }));
        handChoice.append(choice('Hand', options, side, choose));
      }
    }
    servos.choose(side);
    feel.choose(side);
    mayBegin();
    if (visible && live.connected) {
      problem.hidden = true;
      void look();
    }
  }
  /** Nobody wears a recording. */
  function mayBegin(): void {
    const hand = side && live.hands.get(side);
    const recording = hand && recordingOf(hand);
    check.disabled = recording !== undefined;
    fit.disabled = recording !== undefined;
    mount.disabled = recording !== undefined;
    savedFits.permit(recording === undefined);
    const simulated = hand !== undefined && recording === undefined && isSimulated(hand);
    why.hidden = recording === undefined && !simulated;
    setText(why, recording !== undefined ? ofReplay(recording) : simulated ? OF_SIMULATED : '');
  }
  live.changed.on(sync);
  let rest = () => {};
  seen.subscribe((isSeen) => {
    if (isSeen && visible) void look();
  });
  const measure = () => side && measured.update(side, live.hands.get(side));

  return {
    name: 'fit',
    label: 'Fit',
    icon: '<path d="M4 7h16v10H4zM8 7v4M12 7v6M16 7v4" fill="none" stroke="currentColor" stroke-width="2" stroke-linejoin="round"/>',
    panel,
    lead(to, of) {
      if (of !== side && live.hands.has(of)) {
        choose(of);
        setAttribute(handChoice, 'data-sides', '');
        sync();
      }
      if (to === 'servos') servos.open();
      else check.focus();
    },
    show(shown) {
      visible = shown;
      clearTimeout(timer);
      rest();
      servos.show(shown);
      feel.show(shown);
      if (!shown) return;
      sync();
      measure();
      rest = everyWhileSeen(MEASURE_MS, measure);
    },
  };
}

const ofReplay = (name: string): string =>
  `This is a replay of ${name}: nobody wears it, so there is nothing to check or fit, and kept fits stay as they are.`;
const OF_SIMULATED =
  'This hand is simulated and moves by itself, whatever it is asked for: what a check or a fit finds of it means nothing.';

const rangesOf = (hand: LiveHand | undefined): Ranges =>
  new Map(
    (hand?.info.channels ?? []).flatMap(({ role, open, closed }) =>
      open === undefined || closed === undefined ? [] : [[role as string, { open, closed }] as const],
    ),
  );

/** What can be begun, and for whom. */
function startCards(
  why: HTMLElement,
  check: HTMLElement,
  person: HTMLElement,
  fit: HTMLElement,
  mount: HTMLElement,
): HTMLElement {
  return make(
    'div',
    { class: 'guide-start' },
    why,
    make(
      'div',
      { class: 'card' },
      make('h3', {}, 'Check the glove'),
      make(
        'p',
        { class: 'lead' },
        'A few moves show whether every sensor is wired, the right way round and quiet.',
      ),
      check,
    ),
    make(
      'div',
      { class: 'card' },
      make('h3', {}, 'Fit it to the hand'),
      make('p', { class: 'lead' }, 'About a minute of moves teaches the service this hand on this glove.'),
      make('label', { for: 'person' }, 'Who wears it (may be left out)'),
      person,
      fit,
    ),
    make(
      'div',
      { class: 'card' },
      make('h3', {}, 'Fit the tracker on it'),
      make(
        'p',
        { class: 'lead' },
        'Fingertips on one spot show how a controller or tracker sits on the hand, which is then in the world. Start the application that knows the tracker first.',
      ),
      mount,
    ),
  );
}
