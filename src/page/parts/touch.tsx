import { type ReadonlySignal, type Signal, signal, useComputed } from '@preact/signals';
import { useLayoutEffect, useRef } from 'preact/hooks';
import { ArmButton } from '../arm-button.js';
import { CautionList } from '../cautions.js';
import { heedsStrength, isSimulated, type Live, type LiveHand, recordingOf } from '../live.js';
import { onDemand } from '../on-demand.js';
import type { Lead, Part } from '../part.js';
import { createPanel } from '../part-panel.js';
import type { createHandsOnStage } from '../scene/hands.js';
import type { Stage } from '../scene/stage.js';
import { everyWhileSeen } from '../seen.js';
import { Choice } from './choice.js';
import { feltText, isFelt, isPresent } from './felt.js';
import { createFingers, type Fingers, FingerTable } from './finger-table.js';
import { PlaceControls } from './place-controls.js';
import { Slider } from './slider.js';
import { SHAPE_LABEL, SHAPES, STIFFNESS, type StiffnessName } from './touch-object.js';
import { createTouchedThing, type TouchedThing } from './touched-thing.js';
import { UnusedList, unusedText } from './unused-list.js';
import { sideText } from './words.js';

const SHAPE_OPTIONS = SHAPES.map((name) => ({ value: name, label: SHAPE_LABEL[name] }));
const STIFFNESS_OPTIONS = (Object.keys(STIFFNESS) as StiffnessName[]).map((name) => ({
  value: name,
  label: STIFFNESS[name].label,
}));

/** Numbers and bars are written so often at most; more cannot be read. */
const PERIOD_MS = 100;
const HOLD_MS = 200;

/** What the components of this part share. */
interface Touch {
  live: Live;
  thing: TouchedThing;
  lead: Lead;
  fingers: Fingers;
  /** Counts up when something may be another than it was, while the part is shown. */
  beat: ReadonlySignal<number>;
  /** Why it could not be armed. */
  refusal: Signal<string | undefined>;
  hand(): LiveHand | undefined;
}

/** Part 4: an object in the hand, felt once the wearer arms. */
export function createTouchPart(
  live: Live,
  stage: Stage,
  hands: ReturnType<typeof createHandsOnStage>,
  lead: Lead,
): Part {
  const thing = createTouchedThing(live, stage, hands);
  const beat = signal(0);
  const next = () => {
    beat.value++;
  };
  let visible = false;
  const heard = onDemand(next, PERIOD_MS);
  for (const kind of ['joints', 'resistance', 'health'] as const) {
    live.client.on(kind, () => {
      if (visible) heard();
    });
  }
  live.changed.on(() => {
    if (visible) next();
  });
  const touch: Touch = {
    live,
    thing,
    lead,
    fingers: createFingers(live),
    beat,
    refusal: signal(undefined),
    hand: () => (thing.side.value === undefined ? undefined : live.hands.get(thing.side.value)),
  };
  let rest = () => {};
  return {
    view: 'palm',
    panel: createPanel('touch', 'Touch', <TouchPanel {...touch} />, { className: 'touch' }),
    show(shown) {
      visible = shown;
      thing.show(shown);
      rest();
      // What became of the hold is said by no event.
      rest = shown ? everyWhileSeen(HOLD_MS, next) : () => {};
      if (shown) next();
    },
  };
}

function TouchPanel(touch: Touch) {
  return (
    <>
      <FeltAndFingers {...touch} />
      <ThingControls {...touch} />
      <details class="card">
        <summary>Cautions</summary>
        <CautionList />
      </details>
    </>
  );
}

/** Whether the object is felt, the way to arm, and what each finger does. */
function FeltAndFingers(touch: Touch) {
  const { fingers, thing, beat } = touch;
  const unused = useNow(touch, (hand) => (hand ? unusedText(hand) : ''));
  useLayoutEffect(
    () =>
      beat.subscribe(() => {
        const hand = touch.hand();
        if (hand) fingers.update(hand);
      }),
    [],
  );
  return (
    <>
      <div class="card arm-card">
        <Arming {...touch} />
        <UnusedList text={unused} />
      </div>
      <HandChoice thing={thing} />
      <div class="card">
        <FingerTable fingers={fingers} />
        <TryServos {...touch} />
      </div>
    </>
  );
}

/** What is true of the hand now: looked at with each beat, and shown anew where it is another. */
const useNow = <T extends string | boolean>(
  { beat, hand }: Pick<Touch, 'beat' | 'hand'>,
  read: (hand: LiveHand | undefined) => T,
) =>
  useComputed(() => {
    beat.value;
    return read(hand());
  });

function Arming(touch: Touch) {
  const { live, thing, refusal } = touch;
  const felt = useRef<HTMLParagraphElement>(null);
  const button = useRef<HTMLButtonElement>(null);
  const text = useNow(touch, (hand) => {
    if (!live.connected) return 'The service does not answer.';
    return hand ? feltText(hand, { refusal: refusal.value, hold: thing.hold }) : '';
  });
  const isFeltNow = useNow(touch, (hand) => String(hand !== undefined && isFelt(hand, thing.hold)));
  const armed = useNow(touch, (hand) => hand?.armed === true).value;
  const mayArm = useNow(
    touch,
    (hand) => hand !== undefined && live.connected && isPresent(hand) && recordingOf(hand) === undefined,
  );
  useLayoutEffect(() => {
    // The button goes, and leaves the focus near.
    if (armed && document.activeElement === button.current) felt.current?.focus();
  }, [armed]);
  return (
    <>
      <p
        class="felt"
        role="status"
        tabIndex={-1}
        data-felt={isFeltNow}
        ref={felt}
        // It takes the focus while the key that armed may still be down: that must not scroll.
        onKeyDown={(event) => event.repeat && event.preventDefault()}
      >
        {text}
      </p>
      <ArmButton
        side={() => thing.side.peek()}
        began={() => {
          refusal.value = undefined;
        }}
        done={(why) => {
          refusal.value = why;
        }}
        disabled={!mayArm.value}
        hidden={armed}
        button={button}
      />
    </>
  );
}

function HandChoice({ thing }: { thing: TouchedThing }) {
  const sides = thing.sides.value;
  if (sides.length < 2) return null;
  const options = sides.map((value) => ({ value, label: sideText(value) }));
  return <Choice legend="Hand" options={options} chosen={thing.side.value} choose={thing.touchBy} />;
}

function TryServos(touch: Touch) {
  const { thing, lead } = touch;
  const nothingToTry = useNow(
    touch,
    (hand) => !hand || !isPresent(hand) || recordingOf(hand) !== undefined || isSimulated(hand),
  );
  const go = () => {
    const side = thing.side.peek();
    if (side) lead('servos', side);
  };
  return (
    <p class="lead" hidden={nothingToTry}>
      A finger is not stopped?{' '}
      <button type="button" class="small" onClick={go}>
        Try the servos
      </button>
    </p>
  );
}

function ThingControls(touch: Touch) {
  const { thing } = touch;
  return (
    <>
      <Choice
        legend="Shape"
        options={SHAPE_OPTIONS}
        chosen={thing.shape.value}
        choose={(shape) => {
          thing.shape.value = shape;
        }}
      />
      <Slider
        label="Size"
        min={20}
        max={120}
        unit="mm"
        value={thing.sizeMm.value}
        change={(mm) => {
          thing.sizeMm.value = mm;
        }}
        hidden={thing.shape.value === 'wall'}
      />
      <Choice
        legend="Stiffness"
        options={STIFFNESS_OPTIONS}
        chosen={thing.stiffness.value}
        choose={(stiffness) => {
          thing.stiffness.value = stiffness;
        }}
      />
      <Strength {...touch} />
      <PlaceControls position={thing.position} move={thing.move} reset={thing.reset} />
    </>
  );
}

function Strength(touch: Touch) {
  const { thing } = touch;
  const heeded = useNow(touch, (hand) => hand === undefined || heedsStrength(hand)).value;
  return (
    <>
      <Slider
        label="Strength"
        min={5}
        max={100}
        step={5}
        unit="%"
        value={thing.effort.value * 100}
        change={(percent) => {
          thing.effort.value = percent / 100;
        }}
        hidden={!heeded}
      />
      <p class="lead no-strength" hidden={heeded}>
        This glove knows no strength: its servos hold with all the tension that the profile permits, or are
        free. A soft object lets a finger in further before it is stopped.
      </p>
    </>
  );
}
