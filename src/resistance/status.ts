import type { Governor } from './governor.js';
import { FINGER_COUNT } from './requests.js';

/** Differences smaller than these are not shown: curl, effort, part of the thermal budget. */
const STOP_STEP = 0.002;
const EFFORT_STEP = 0.005;
const HEAT_STEP = 0.02;

/** What the wearer and apps are told. One object, rewritten by every step. */
export interface ResistanceStatus {
  timeUs: number;
  armed: boolean;
  /** Who armed the glove, or why it is disarmed. */
  reason: string;
  curls: Float64Array;
  /** 1: held at a stop. */
  held: Uint8Array;
  /** Curl; 1 when free. */
  stops: Float64Array;
  /** 0..1 of the permitted maximum. */
  efforts: Float64Array;
  tensionsN: Float64Array;
  /** Part of the thermal budget used, 0..1. */
  heats: Float64Array;
  /** App that holds the finger; '' when free. */
  apps: string[];
  /** LIMIT_BIT of why less is given than was asked; names by `limitNames`. */
  limits: Uint16Array;
  /** Goes up whenever something above that is worth telling has changed. */
  revision: number;
}

/** Keeps the status of one glove, and counts the revisions that are worth showing. Allocates nothing after it is made. */
export class StatusKeeper {
  readonly status: ResistanceStatus;
  private readonly shownStops = new Float64Array(FINGER_COUNT);
  private readonly shownEfforts = new Float64Array(FINGER_COUNT);
  private readonly shownHeats = new Float64Array(FINGER_COUNT);
  private readonly shownLimits = new Uint16Array(FINGER_COUNT);
  private readonly shownApps = new Array<string>(FINGER_COUNT).fill('');
  private shownArmed = false;

  /** @param curls measured, rewritten by the owner */
  constructor(
    private readonly governor: Governor,
    curls: Float64Array,
  ) {
    const { outputs, reason } = governor;
    this.status = {
      timeUs: 0,
      armed: false,
      reason,
      curls,
      held: outputs.held,
      stops: outputs.stops,
      efforts: outputs.efforts,
      tensionsN: outputs.tensionsN,
      heats: outputs.heats,
      apps: new Array<string>(FINGER_COUNT).fill(''),
      limits: outputs.limits,
      revision: 0,
    };
  }

  /** Takes over what the governor has decided; `apps` are those that ask, per finger. */
  update(nowUs: number, apps: readonly string[]): void {
    const { status, governor } = this;
    status.timeUs = nowUs;
    for (let finger = 0; finger < FINGER_COUNT; finger++) {
      status.apps[finger] = governor.outputs.held[finger] === 1 ? apps[finger] : '';
    }
    this.revise();
  }

  /** Every finger has been freed. */
  freed(nowUs: number): void {
    this.status.timeUs = nowUs;
    this.status.apps.fill('');
    this.revise();
  }

  /** Raises the revision when the status differs from the last revision by more than a display shows. */
  private revise(): void {
    const { status, governor } = this;
    status.armed = governor.armed;
    status.reason = governor.reason;
    let changed = this.shownArmed !== status.armed;
    for (let finger = 0; finger < FINGER_COUNT && !changed; finger++) {
      changed =
        status.limits[finger] !== this.shownLimits[finger] ||
        status.apps[finger] !== this.shownApps[finger] ||
        Math.abs(status.stops[finger] - this.shownStops[finger]) > STOP_STEP ||
        Math.abs(status.efforts[finger] - this.shownEfforts[finger]) > EFFORT_STEP ||
        Math.abs(status.heats[finger] - this.shownHeats[finger]) > HEAT_STEP;
    }
    if (!changed) return;
    status.revision++;
    this.shownArmed = status.armed;
    this.shownLimits.set(status.limits);
    this.shownStops.set(status.stops);
    this.shownEfforts.set(status.efforts);
    this.shownHeats.set(status.heats);
    for (let finger = 0; finger < FINGER_COUNT; finger++) this.shownApps[finger] = status.apps[finger];
  }
}
