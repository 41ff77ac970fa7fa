import type { Place, Revealed } from '../guide/feel-trial.js';
import type { Finding } from '../guide/report.js';
import type { Finger, HandSide } from '../hand/joints.js';
import type { StartingValue } from '../resistance/starting-values.js';
import type { Feel, WearerFeel } from '../resistance/wearer-feel.js';

/** What GET /feel and the like answer. Nothing in it says which is which before every round is decided. */
export interface GloveAnswer {
  hand: HandSide;
  glove: string;
  state: 'idle' | 'running' | 'done' | 'stopped';
  /** Why it was stopped. */
  reason?: string;
  armed: boolean;
  /** To complete "To arm: …". */
  howToArm?: string;
  trial?: {
    what: Feel;
    finger: Finger;
    /** From 1. */
    round: number;
    rounds: number;
    showing: Place;
    felt: { first: boolean; second: boolean };
  };
  found?: Finding & { what: Feel; revealed: Revealed };
}

/** What GET /feel/values answers. */
export interface FeelValues {
  hand: HandSide;
  glove: string;
  person?: string;
  /** The wearer's own, where there are any. */
  inUse: WearerFeel;
  actuators: { role: string; kind: string; values: StartingValue[] }[];
}
