import { computed, effect, type ReadonlySignal, signal, untracked, useComputed } from '@preact/signals';
import { createRef, type RefObject } from 'preact';
import type { HandSide } from '../../hand/joints.js';
import { createGuideSession, type GuideSession } from '../guide-session.js';
import { isSimulated, type Live, recordingOf } from '../live.js';
import type { Lead, Part } from '../part.js';
import { createPanel } from '../part-panel.js';
import { createProfileState } from '../profile-state.js';
import { everyWhileSeen } from '../seen.js';
import { Choice } from './choice.js';
import { createFeelState, FeelCard } from './feel-card.js';
import { Findings } from './guide-findings.js';
import { GuideRun } from './guide-run.js';
import { GuideStart } from './guide-start.js';
import { MeasuredCard, type MeasuredHand, measuredHand } from './measured-card.js';
import { ProfileCard } from './profile-card.js';
import { createFitShelf, SavedFits } from './saved-fits.js';
import { createServoBench, ServoBench } from './servo-bench.js';
import { sideText } from './words.js';

/** Angles are written so often: more cannot be read. */
const MEASURE_MS = 250;

/** Part 3: the wearer is led through moves, and sees what they show. */
export function createGuidePart(live: Live): Part & { lead: Lead } {
  const sides = signal<readonly HandSide[]>([]);
  const chosen = signal<HandSide | undefined>(undefined);
  const side = computed(() => sides.value.find((one) => one === chosen.value) ?? sides.value[0]);
  /** Nobody wears a recording. */
  const recording = signal<string | undefined>(undefined);
  const isReplay = computed(() => recording.value !== undefined);
  const isMadeUp = signal(false);
  const measured = signal<MeasuredHand | undefined>(undefined);
  const [run, results] = [createRef<HTMLDivElement>(), createRef<HTMLDivElement>()];
  const [next, check] = [createRef<HTMLButtonElement>(), createRef<HTMLButtonElement>()];
  let isVisible = false;
  let rest = () => {};

  const session = createGuideSession(
    live,
    () => side.peek(),
    () => {
      // What has the focus goes away: whoever uses the keyboard goes on at what was found.
      const isFocused = [run, results].some(({ current }) => current?.contains(document.activeElement));
      return () => {
        if (session.isRunning.peek()) return;
        // After it is drawn: while it is empty, it is not there.
        if (isFocused) requestAnimationFrame(() => results.current?.focus());
        void shelf.update();
      };
    },
  );
  const shelf = createFitShelf(session);
  const servos = createServoBench(live);
  const feel = createFeelState(live, () => void shelf.update());
  const profile = createProfileState();

  const hand = () => {
    const shown = side.peek();
    return shown && live.hands.get(shown);
  };
  function sync(): void {
    const found = [...live.hands.keys()];
    if (found.join() !== sides.peek().join()) sides.value = found;
    const now = hand();
    recording.value = now && recordingOf(now);
    isMadeUp.value = now !== undefined && recordingOf(now) === undefined && isSimulated(now);
    if (!isVisible || !live.connected) return;
    session.forget();
    void session.look();
  }
  const measure = () => {
    const now = hand();
    if (now) measured.value = measuredHand(now.info.hand, now);
  };
  effect(() => {
    const now = side.value;
    untracked(() => {
      servos.choose(now);
      feel.choose(now);
      sync();
    });
  });
  live.changed.on(sync);

  const Guide = () => (
    <>
      <Problem problem={session.problem} />
      <HandChoice
        sides={sides}
        side={side}
        choose={(one) => {
          chosen.value = one;
        }}
      />
      <GuideRun session={session} element={run} next={next} />
      <Results
        session={session}
        element={results}
        tryServos={useComputed(() =>
          servos.session.servos.value.length > 0 && !servos.session.isReplay.value
            ? () => servos.open(true)
            : undefined,
        )}
        openProfile={(role) => void profile.open({ role, side: side.peek() })}
      />
      <GuideStart
        hidden={session.isRunning}
        why={computed(() => {
          if (recording.value !== undefined) return ofReplay(recording.value);
          return isMadeUp.value ? OF_SIMULATED : undefined;
        })}
        disabled={isReplay}
        begin={(task, person) =>
          void session.begin(task, person).then(() => {
            if (session.isRunning.peek()) next.current?.focus();
          })
        }
        check={check}
      />
      <ServoBench bench={servos} hidden={session.isRunning} />
      <FeelCard state={feel} hidden={session.isRunning} />
      <SavedFits shelf={shelf} hidden={session.isRunning} disabled={isReplay} />
      <MeasuredCard
        measured={measured}
        isFitted={useComputed(() =>
          shelf.fits.value.some(({ kind, inUse }) => kind === 'bones' && inUse === true),
        )}
        hidden={session.isRunning}
      />
      <ProfileCard state={profile} hidden={session.isRunning} />
    </>
  );
  return {
    panel: createPanel('fit', 'Fit and check', <Guide />),
    lead(to, of) {
      if (live.hands.has(of)) chosen.value = of;
      if (to === 'servos') servos.open(true);
      else check.current?.focus();
    },
    show(shown) {
      isVisible = shown;
      rest();
      session.show(shown);
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

const Problem = ({ problem }: Pick<GuideSession, 'problem'>) => (
  <p class="remedy" role="alert" hidden={problem.value === undefined}>
    {problem.value}
  </p>
);

interface HandChoiceProps {
  sides: ReadonlySignal<readonly HandSide[]>;
  side: ReadonlySignal<HandSide | undefined>;
  choose(side: HandSide): void;
}

/** Which hand, where there are two. */
function HandChoice({ sides, side, choose }: HandChoiceProps) {
  const options = sides.value.map((value) => ({ value, label: sideText(value) }));
  return (
    <div hidden={options.length < 2}>
      {options.length > 1 && <Choice legend="Hand" options={options} chosen={side.value} choose={choose} />}
    </div>
  );
}

interface ResultsProps {
  session: GuideSession;
  element: RefObject<HTMLDivElement | null>;
  tryServos: ReadonlySignal<(() => void) | undefined>;
  openProfile(role: string): void;
}

function Results({ session, element, tryServos, openProfile }: ResultsProps) {
  const isHidden = useComputed(() => session.isRunning.value);
  const { value: report } = session.found;
  return (
    <div class="guide-results" role="status" tabIndex={-1} hidden={isHidden} ref={element}>
      {report && (
        <Findings report={report} session={session} tryServos={tryServos.value} openProfile={openProfile} />
      )}
    </div>
  );
}
