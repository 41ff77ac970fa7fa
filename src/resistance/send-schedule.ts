import { paysOutForward } from '../link/wire-stop.js';
import type { ActuatorCommands, GloveActuator } from './actuators.js';

/** The glove frees everything itself when a command is this old, ms: a killed host frees fingers. */
export const VALID_FOR_MS = 150;
/** What is held is sent again this often, so that two commands may get lost. */
const REFRESH_US = 50_000;
/** Changes smaller than these wait for the next refresh: 0.2 % of the travel, 1 % of the effort. */
const STOP_DEADBAND = 131;
const EFFORT_DEADBAND = 2;
/**
 * A stop that moves away from its finger is sent this soon after the last command: what it waits, a fast finger goes on.
 * A line that carries a sample a millisecond carries a command a millisecond, too.
 */
const YIELD_US = 1000;

/** What to send now: `commands` with VALID_FOR_MS, the release message, or nothing. */
export type Send = 'nothing' | 'resist' | 'release';

/**
 * When commands go out to the glove: what frees a finger at once, other changes at the rate that the link bears, and
 * what is held again and again, so that the glove knows that the host is alive.
 */
export class SendSchedule {
  private readonly minSendUs: number;
  /** Per actuator: 1 where a greater wire stop pays string out, -1 where a smaller one does. */
  private readonly paysOut: Int8Array;
  private readonly sentStops: Uint16Array;
  private readonly sentEfforts: Uint8Array;
  private sentUs = Number.NEGATIVE_INFINITY;
  /** The glove may still hold something that it should not. */
  private mustRelease = true;

  /** @param maxSendHz most commands a second; freeing a finger never waits, and a stop that moves away hardly */
  constructor(
    private readonly commands: ActuatorCommands,
    actuators: readonly GloveActuator[],
    maxSendHz: number,
  ) {
    this.minSendUs = 1e6 / maxSendHz;
    this.paysOut = Int8Array.from(actuators, (actuator) => (actuator && !paysOutForward(actuator) ? -1 : 1));
    this.sentStops = new Uint16Array(commands.count);
    this.sentEfforts = new Uint8Array(commands.count);
  }

  /** Whatever the glove was last sent, it is to hear a release unless something is held. */
  requireRelease(): void {
    this.mustRelease = true;
  }

  /** The link did not take what was last to be sent: it will be said again. */
  unsent(): void {
    this.sentUs = Number.NEGATIVE_INFINITY;
    this.mustRelease = true;
  }

  /**
   * What to send now; counts as sent.
   * @param pulseRunning a pulse of the glove has not ended yet
   */
  next(nowUs: number, linkLive: boolean, pulseRunning: boolean): Send {
    if (!linkLive) {
      // Whatever the glove held when the link broke: when it is back it hears what is held now, or a release.
      this.mustRelease = true;
      return 'nothing';
    }
    const { stops, efforts, count } = this.commands;
    let holds = false;
    let held = false;
    let freed = false;
    let changed = false;
    let yields = false;
    for (let at = 0; at < count; at++) {
      const sentEffort = this.sentEfforts[at];
      if (efforts[at] > 0) holds = true;
      if (sentEffort > 0) held = true;
      if (efforts[at] === 0 && sentEffort > 0) freed = true;
      if (efforts[at] > 0 !== sentEffort > 0) changed = true;
      if (Math.abs(efforts[at] - sentEffort) >= EFFORT_DEADBAND) changed = true;
      const moved = stops[at] - this.sentStops[at];
      if (Math.abs(moved) >= STOP_DEADBAND) changed = true;
      if (moved * this.paysOut[at] >= STOP_DEADBAND) yields = true;
    }
    if (!holds) {
      if (!held && !this.mustRelease) return 'nothing';
      // A release ends pulses too; where one may go on, an empty command frees the fingers.
      const send = this.mustRelease || !pulseRunning ? 'release' : 'resist';
      this.sent(nowUs);
      return send;
    }
    const sinceUs = nowUs - this.sentUs;
    const waitUs = yields ? Math.min(YIELD_US, this.minSendUs) : this.minSendUs;
    const due = freed || !(sinceUs < REFRESH_US) || (changed && sinceUs >= waitUs);
    if (!due) return 'nothing';
    this.sent(nowUs);
    return 'resist';
  }

  private sent(nowUs: number): void {
    this.sentStops.set(this.commands.stops);
    this.sentEfforts.set(this.commands.efforts);
    this.sentUs = nowUs;
    this.mustRelease = false;
  }
}
