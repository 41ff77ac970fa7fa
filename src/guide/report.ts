import type { FittedMount, MountFault } from '../hand/fit-mount.js';
import type { HandSide } from '../hand/joints.js';
import type { ChannelRole } from '../protocol/link-table.js';
import type { FittedStop, UnfittedStop } from './actuator-fit.js';
import type { ButtonFinding } from './button-watch.js';
import type { FitResult } from './fit.js';
import type { SensorOffset } from './sensor-offset.js';

/** What page, command line and programs see of a guided run: plain data. */

/** Whoever asked for a run, and shows its prompts to the wearer. */
export interface Leader {
  /** Chosen by itself; '' when it named none. */
  id: string;
  /** For people: "the page", "`tautline fit`". */
  name: string;
}

export const GUIDE_TASKS = ['check', 'fit', 'actuators', 'mount'] as const;
export type GuideTask = (typeof GUIDE_TASKS)[number];

export interface GuideReport {
  hand: HandSide;
  glove: string;
  state: 'idle' | 'running' | 'done' | 'stopped';
  task?: GuideTask;
  /** Why it was stopped. */
  reason?: string;
  /** The present move. */
  move?: {
    name: string;
    prompt: string;
    /** From 1. */
    number: number;
    count: number;
    /** Part done, 0..1, as far as it can be seen. */
    part: number;
    /** How far to close the hand now, 0..1, for moves that follow a bar. */
    bar?: number;
  };
  check?: CheckReport;
  fit?: FitReport;
  stops?: StopsReport;
  mount?: MountReport;
}

/** What was found for a person, and whether it is kept. */
export interface Finding {
  person: string;
  /** It is in use, and saved. */
  accepted: boolean;
  /** When it was saved, ISO 8601: POST /fits/undo?savedAt= takes it back, and nothing else. */
  keptAt?: string;
}

/** How the tracker sits on the hand, or why that was not found. */
export interface MountReport extends Finding {
  fitted?: FittedMount;
  /** Why not: a name, and one line for the wearer. */
  fault?: MountFault;
  line?: string;
  /** Sensors that read wrong by what was found, as they would be put right: to be accepted apart from the mount. */
  sensors?: readonly SensorOffset[];
  /** They are in use, and saved. */
  sensorsAccepted?: boolean;
  /** When, as `keptAt`. */
  sensorsKeptAt?: string;
}

/** Where the string stops hold, as found by use. */
export interface StopsReport extends Finding {
  fitted: readonly FittedStop[];
  unfitted: readonly UnfittedStop[];
}

export interface FitReport extends FitResult, Finding {
  /** Between the skins of thumb and index tip in the pinch, after the fit, mm; what is left is the error. */
  pinchGapMm?: number;
}

export interface CheckReport {
  /** All channels healthy and the link well. */
  ok: boolean;
  channels: {
    role: ChannelRole;
    verdict: string;
    evidence: string;
    remedy: string;
    /** Part of the converter used, 0..1. */
    used: number;
    noiseCounts: number;
  }[];
  /** Those that the profile names. */
  buttons?: readonly ButtonFinding[];
  link: LinkReport;
}

export interface LinkReport {
  ok: boolean;
  /** Samples a second: measured, and what the glove said. */
  rateHz: number;
  promisedHz: number;
  /** During the check. */
  lost: number;
  badCrc: number;
  malformed: number;
  /** Silences of more than 0.1 s. */
  gaps: number;
  jitterMs: number;
  remedy: string;
}
