import { batch, computed, effect, type ReadonlySignal, type Signal, signal } from '@preact/signals';
import { Vector3 } from 'three';
import type { Hold, HoldRequest } from '../../client/hold.js';
import type { HandSide } from '../../hand/joints.js';
import type { HandInfo, Live } from '../live.js';
import type { createHandsOnStage } from '../scene/hands.js';
import type { Stage } from '../scene/stage.js';
import { createTouchMesh } from '../scene/touch-mesh.js';
import {
  inPalm,
  orientationOf,
  type ShapeName,
  STIFFNESS,
  type StiffnessName,
  shapeOf,
} from './touch-object.js';

type TouchHold = Hold<Partial<Omit<HoldRequest, 'hand'>>>;

/** The object of the part Touch: what it is and where, drawn in the hand and held there while the part is shown. */
export interface TouchedThing {
  readonly shape: Signal<ShapeName>;
  readonly stiffness: Signal<StiffnessName>;
  /** Diameter or edge. */
  readonly sizeMm: Signal<number>;
  /** Of 0 to 1. */
  readonly effort: Signal<number>;
  /** In the hand's frame, m. */
  readonly position: ReadonlySignal<Vector3>;
  /** The hands that there are, and the one that touches. */
  readonly sides: ReadonlySignal<readonly HandSide[]>;
  readonly side: ReadonlySignal<HandSide | undefined>;
  /** What became of it at the service; said by no event. */
  readonly hold: Pick<TouchHold, 'state' | 'error'> | undefined;
  touchBy(side: HandSide): void;
  move(to: Vector3): void;
  /** Where it lies by itself. */
  reset(): void;
  show(shown: boolean): void;
}

export function createTouchedThing(
  live: Live,
  stage: Stage,
  hands: ReturnType<typeof createHandsOnStage>,
): TouchedThing {
  const visible = signal(false);
  const shape = signal<ShapeName>('ball');
  const stiffness = signal<StiffnessName>('hard');
  const sizeMm = signal(60);
  const effort = signal(0.5);
  const infos = signal<readonly HandInfo[]>([]);
  const chosen = signal<HandSide | undefined>(undefined);
  /** Moved by hand: no longer placed by itself. */
  const movedTo = signal<Vector3 | undefined>(undefined);
  /** Hands, arming or connection changed. */
  const changes = signal(0);
  let hold: TouchHold | undefined;

  /** The hand there is, or the one chosen. */
  const info = computed(() => infos.value.find(({ hand }) => hand === chosen.value) ?? infos.value[0]);
  const side = computed(() => info.value?.hand);
  const body = computed(() => shapeOf(shape.value, sizeMm.value / 1000));
  const position = computed(
    () =>
      movedTo.value ?? (info.value ? inPalm(info.value, shape.value, sizeMm.value / 1000) : new Vector3()),
  );
  const request = computed(() => ({
    shape: body.value,
    position: position.value.toArray(),
    orientation: orientationOf(shape.value),
    effort: effort.value,
    stiffness: STIFFNESS[stiffness.value].newtonPerMetre,
  }));

  const mesh = createTouchMesh(stage, (to) => move(to));
  effect(() => mesh.shape(body.value));
  effect(() => mesh.place(position.value, orientationOf(shape.value)));

  const release = () => {
    hold?.release();
    hold = undefined;
  };
  // In the chosen hand, as soon as that is drawn.
  effect(() => {
    changes.value;
    const group = visible.value && side.value !== undefined ? hands.get(side.value)?.group : undefined;
    mesh.show(group);
    if (group === undefined || side.value === undefined) release();
    else {
      // What was refused before the wearer armed is asked for again.
      if (hold && (hold.hand !== side.value || hold.state === 'refused' || hold.state === 'released'))
        release();
      hold ??= askFor(side.value);
    }
  });
  effect(() => {
    const asked = request.value;
    hold?.move(asked);
  });
  function askFor(hand: HandSide): TouchHold {
    const { stiffness: newtonPerMetre, ...asked } = request.peek();
    return live.client.hold({
      hand,
      ...asked,
      ...(newtonPerMetre === undefined ? {} : { stiffness: newtonPerMetre }),
    });
  }

  function move(to: Vector3): void {
    movedTo.value = to.clone();
  }
  const sync = () =>
    batch(() => {
      infos.value = [...live.hands.values()].map((hand) => hand.info);
      changes.value++;
    });
  live.changed.on(sync);
  sync();

  return {
    shape,
    stiffness,
    sizeMm,
    effort,
    position,
    sides: computed(() => infos.value.map(({ hand }) => hand)),
    side,
    get hold() {
      return hold;
    },
    touchBy(hand) {
      batch(() => {
        chosen.value = hand;
        movedTo.value = undefined;
      });
    },
    move,
    reset() {
      movedTo.value = undefined;
    },
    show(shown) {
      visible.value = shown;
    },
  };
}
