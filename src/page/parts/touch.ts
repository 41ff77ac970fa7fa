import { Vector3 } from 'three';
import type { Hold, HoldRequest } from '../../client/hold.js';
import type { HandSide } from '../../hand/joints.js';
import { createArmButton } from '../arm-button.js';
import { cautionList } from '../cautions.js';
import { button, make, setAttribute, setHidden, setText } from '../dom.js';
import { heedsStrength, holdsNothing, isSimulated, type Live, type LiveHand, recordingOf } from '../live.js';
import { onDemand } from '../on-demand.js';
import type { Lead, Part } from '../part.js';
import type { createHandsOnStage } from '../scene/hands.js';
import type { Stage } from '../scene/stage.js';
import { createTouchMesh } from '../scene/touch-mesh.js';
import { everyWhileSeen } from '../seen.js';
import { choice, slider } from './controls.js';
import { createFingerTable } from './finger-table.js';
import { createPlaceControls } from './place-controls.js';
import {
  inPalm,
  orientationOf,
  SHAPE_LABEL,
  SHAPES,
  type ShapeName,
  STIFFNESS,
  type StiffnessName,
  shapeOf,
} from './touch-object.js';
import { sideText } from './words.js';

const STIFFNESSES = (Object.keys(STIFFNESS) as StiffnessName[]).map((name) => ({
  value: name,
  label: STIFFNESS[name].label,
}));

/** Numbers and bars are written so often at most; more cannot be read. */
const PERIOD_MS = 100;
const HOLD_MS = 200;

/** Part 4: an object in the hand, felt once the wearer arms. */
export function createTouchPart(
  live: Live,
  stage: Stage,
  hands: ReturnType<typeof createHandsOnStage>,
  lead: Lead,
): Part {
  let visible = false;
  let side: HandSide | undefined;
  let shape: ShapeName = 'ball';
  let stiffness: StiffnessName = 'hard';
  let sizeMm = 60;
  let effort = 0.5;
  /** Moved by hand: no longer placed by itself. */
  let moved = false;
  /** Why it could not be armed. */
  let refusal: string | undefined;
  const position = new Vector3();
  let hold: Hold<Partial<Omit<HoldRequest, 'hand'>>> | undefined;

  const touchMesh = createTouchMesh(stage, (to) => move(to));
  const state = make('p', { class: 'felt', role: 'status', tabindex: -1 });
  // It takes the focus while the key that armed may still be down: that must not scroll.
  state.addEventListener('keydown', (event) => event.repeat && event.preventDefault());
  const table = createFingerTable(live);
  const handChoice = make('div');

  const { button: armButton, element: armElement } = createArmButton(
    () => side,
    () => {
      refusal = undefined;
    },
    (why) => {
      refusal = why;
      update();
    },
  );

  const place = createPlaceControls(
    position,
    (to) => move(to),
    () => {
      moved = false;
      reshape();
    },
  );
  const noStrength = make(
    'p',
    { class: 'lead no-strength', hidden: true },
    'This glove knows no strength: its servos hold with all the tension that the profile permits, or are free. A soft object lets a finger in further before it is stopped.',
  );
  const size = slider('Size', { min: 20, max: 120, unit: 'mm' }, (mm) => {
    sizeMm = mm;
    reshape();
  });
  const force = slider('Strength', { min: 5, max: 100, step: 5, unit: '%' }, (percent) => {
    effort = percent / 100;
    hold?.move({ effort });
  });
  size.set(sizeMm);
  force.set(effort * 100);

  const tryServos = make(
    'p',
    { class: 'lead' },
    'A finger is not stopped? ',
    button('Try the servos', () => side && lead('servos', side), { class: 'small' }),
  );
  const panel = make(
    'section',
    { 'aria-labelledby': 'touch-title', class: 'touch' },
    make('h2', { id: 'touch-title' }, 'Touch'),
    make('div', { class: 'card arm-card' }, state, armElement, table.unused),
    handChoice,
    make('div', { class: 'card' }, table.element, tryServos),
    choice(
      'Shape',
      SHAPES.map((name) => ({ value: name, label: SHAPE_LABEL[name] })),
      shape,
      (name) => {
        shape = name;
        reshape();
      },
    ),
    size.element,
    choice('Stiffness', STIFFNESSES, stiffness, (name) => {
      stiffness = name;
      hold?.move({ stiffness: STIFFNESS[name].newtonPerMetre });
    }),
    force.element,
    noStrength,
    place.element,
    make('details', { class: 'card' }, make('summary', {}, 'Cautions'), cautionList()),
  );

  function move(to: Vector3): void {
    moved = true;
    placeAt(to);
  }

  function placeAt(to: Vector3): void {
    position.copy(to);
    place.show(to);
    touchMesh.place(position, orientationOf(shape));
    hold?.move({ position: [position.x, position.y, position.z] });
  }

  function reshape(): void {
    const hand = side && live.hands.get(side);
    const body = shapeOf(shape, sizeMm / 1000);
    touchMesh.shape(body);
    size.element.hidden = shape === 'wall';
    hold?.move({ shape: body, orientation: orientationOf(shape) });
    if (hand && !moved) placeAt(inPalm(hand.info, shape, sizeMm / 1000));
    else placeAt(position.clone());
  }

  /** The hand that is touched: the one there is, or the one chosen. */
  function sync(): void {
    const sides = [...live.hands.keys()];
    if (side === undefined || !live.hands.has(side)) side = sides[0];
    handChoice.hidden = sides.length < 2;
    const known = handChoice.dataset.sides ?? '';
    if (known !== sides.join()) {
      handChoice.dataset.sides = sides.join();
      handChoice.replaceChildren();
      if (sides.length > 1 && side) {
        const options = sides.map((value) => ({ value, label: sideText(value) }));
        handChoice.append(
          choice('Hand', options, side, (chosen) => {
            side = chosen;
            moved = false;
            take();
          }),
        );
      }
    }
    if (visible) take();
    update();
  }

  /** Shows the object in the chosen hand and holds it there. */
  function take(): void {
    const group = side && hands.get(side)?.group;
    touchMesh.show(visible ? group : undefined);
    if (!visible || !side || !group) {
      hold?.release();
      hold = undefined;
      return;
    }
    if (hold && (hold.hand !== side || hold.state === 'refused' || hold.state === 'released')) {
      hold.release();
      hold = undefined;
    }
    if (!moved || !hold) reshape();
    const { newtonPerMetre } = STIFFNESS[stiffness];
    hold ??= live.client.hold({
      hand: side,
      shape: shapeOf(shape, sizeMm / 1000),
      position: [position.x, position.y, position.z],
      orientation: orientationOf(shape),
      effort,
      ...(newtonPerMetre === undefined ? {} : { stiffness: newtonPerMetre }),
    });
  }

  function update(): void {
    if (!visible) return;
    const hand = side && live.hands.get(side);
    if (!hand) return;
    table.update(hand);
    setHidden(force.element, !heedsStrength(hand));
    setHidden(noStrength, heedsStrength(hand));
    if (hand.armed && document.activeElement === armButton) state.focus();
    setHidden(armElement, hand.armed);
    const present = (hand.health?.link.state ?? hand.info.link.state) === 'live';
    const recording = recordingOf(hand);
    setHidden(tryServos, !present || recording !== undefined || isSimulated(hand));
    armButton.disabled = !live.connected || !present || recording !== undefined;
    setAttribute(state, 'data-felt', String(hand.armed && hold?.state === 'held' && !holdsNothing(hand)));
    const here = { present, refusal, hold };
    setText(state, live.connected ? feltText(hand, side, here) : 'The service does not answer.');
  }

  live.changed.on(sync);
  const changed = onDemand(update, PERIOD_MS);
  for (const kind of ['joints', 'resistance', 'health'] as const) {
    live.client.on(kind, () => {
      if (visible) changed();
    });
  }
  let rest = () => {};

  return {
    name: 'touch',
    label: 'Touch',
    view: 'palm',
    icon: '<circle cx="14.500" cy="14.500" r="7" fill="none" stroke="currentColor" stroke-width="2"/><path d="M3 3l6.200 6.200M9.500 5v4.500H5" fill="none" stroke="currentColor" stroke-width="2" stroke-linecap="round"/>',
    panel,
    show(shown) {
      visible = shown;
      rest();
      // What became of the hold is said by no event.
      rest = shown ? everyWhileSeen(HOLD_MS, update) : () => {};
      take();
      sync();
    },
  };
}

/** Whether the object is felt, and if not, why. */
function feltText(
  hand: LiveHand,
  side: HandSide | undefined,
  {
    present,
    refusal,
    hold,
  }: {
    present: boolean;
    refusal: string | undefined;
    hold: Pick<Hold<object>, 'state' | 'error'> | undefined;
  },
): string {
  const recording = recordingOf(hand);
  if (recording !== undefined) return `Not felt: this is a replay of ${recording}, and no force is possible.`;
  if (!present) return `Not felt: the ${side} glove is not connected.`;
  if (!hand.armed) return refusal ?? 'Not felt: disarmed. Hold the button down to arm.';
  if (holdsNothing(hand)) return 'Not felt: every finger stays free. See why below.';
  if (hold?.state === 'held') return `Felt by the ${side} hand. Close it slowly.`;
  // What was refused before the wearer armed is asked for again now.
  return (hold?.error?.code !== 'disarmed' && hold?.error?.message) || 'Asking the service…';
}
