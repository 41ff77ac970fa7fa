import type { AppMessageOf } from '../protocol/messages.js';
import { isServed, type ServedPrograms } from '../protocol/program-name.js';
import type { Refusal } from '../protocol/refusals.js';

/** OpenXR applications that loaded the layer: those of now, and of late. */

type Report = AppMessageOf<'openxr'>;
type HandReport = NonNullable<Report['hands']>[number];

export interface OpenxrApp {
  program: string;
  app?: string;
  pid?: number;
  layer?: string;
  runtime?: string;
  runtimeVersion?: string;
  /** ISO 8601. */
  since: string;
  /** When it left; absent while it is there. */
  until?: string;
  /** False: the profile denies it. */
  served: boolean;
  focused: boolean;
  hands: OpenxrAppHand[];
}
export interface OpenxrAppHand extends HandReport {
  /** Why the application does not have the glove's hand, and what to do; absent while it has. */
  why?: string;
}

/** What decides whether a glove can be shown. */
export interface ShownGlove {
  hand: string;
  link: { state: string; reason?: string | undefined };
  valid: boolean;
  /** Why it is not valid. */
  reason?: string | undefined;
}

const MOST_KEPT = 20;
const EVERYBODY: ServedPrograms = { deny: [] };

interface Kept {
  report: Report;
  served: boolean;
  sinceMs: number;
  untilMs?: number;
}

export interface OpenxrApps {
  /** Takes what a layer says of its application. @returns why it is not served */
  take(connection: object, report: Report, nowMs: number): Refusal | undefined;
  /** Vibrations of these applications may hold fingers. */
  readonly grasps: boolean;
  /** Whether this connection is of a program that the profile denies. */
  isDenied(connection: object): boolean;
  left(connection: object, nowMs: number): void;
  /** Newest first. */
  list(gloves: readonly ShownGlove[]): OpenxrApp[];
}

export function createOpenxrApps(programs: ServedPrograms & { graspHold?: boolean } = EVERYBODY): OpenxrApps {
  const present = new Map<object, Kept>();
  const past: Kept[] = [];
  return {
    grasps: programs.graspHold === true,
    take(connection, report, nowMs) {
      const served = isServed(report.program, programs);
      present.set(connection, { report, served, sinceMs: present.get(connection)?.sinceMs ?? nowMs });
      if (served) return undefined;
      const program = JSON.stringify(report.program);
      return {
        code: 'notPermitted',
        message: `The program ${program} is not served: see openxr.allow and openxr.deny of the profile.`,
        path: '/program',
      };
    },
    isDenied: (connection) => present.get(connection)?.served === false,
    left(connection, nowMs) {
      const kept = present.get(connection);
      if (!kept) return;
      present.delete(connection);
      past.unshift({ ...kept, untilMs: nowMs });
      past.length = Math.min(past.length, MOST_KEPT);
    },
    list: (gloves) => [...[...present.values()].reverse(), ...past].map((kept) => describe(kept, gloves)),
  };
}

const iso = (ms: number) => new Date(ms).toISOString();

function describe({ report, served, sinceMs, untilMs }: Kept, gloves: readonly ShownGlove[]): OpenxrApp {
  const { type: _type, id: _id, hands = [], focused = false, ...who } = report;
  const here = untilMs === undefined;
  return {
    ...who,
    since: iso(sinceMs),
    ...(here ? {} : { until: iso(untilMs) }),
    served,
    focused: here && focused,
    hands: here && served ? hands.map((hand) => withReason(hand, focused, gloves)) : [],
  };
}

function withReason(hand: HandReport, focused: boolean, gloves: readonly ShownGlove[]): OpenxrAppHand {
  const why = whyNot(hand, focused, gloves);
  return why === undefined ? hand : { ...hand, why };
}

/** Why a hand is not served by its glove: the first thing that stands in the way. */
export function whyNot(
  { hand, fingers, inputs }: HandReport,
  focused: boolean,
  gloves: readonly ShownGlove[],
): string | undefined {
  if (fingers === 'glove' || (fingers === 'unasked' && inputs)) return undefined;
  const glove = gloves.find((each) => each.hand === hand);
  if (!glove) return `The profile has no glove for the ${hand} hand.`;
  if (glove.link.state !== 'live') {
    return `The glove is not connected. ${glove.link.reason ?? 'See `tautline doctor`.'}`;
  }
  if (!glove.valid) return glove.reason ?? 'The glove sends no fresh samples. See `tautline doctor`.';
  if (!focused) return 'The application does not have the focus of the headset: choose it there.';
  if (fingers === 'unasked') {
    return 'The application asks for no hand, and suggests no bindings that a glove could serve.';
  }
  return 'Nothing says where the wrist is: turn on the controller that it carries, or let the headset see the hand.';
}
