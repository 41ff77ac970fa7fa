import { FINGERS, type Finger } from '../hand/joints.js';
import type { LiveHand } from './live.js';

/** What stops a finger of a hand: one can be tried at a time. */
export interface Servo {
  finger: Finger;
  kind: string;
  /** Of the profile, curl/s. */
  perS: number | undefined;
  /** Why it is never used. */
  unused: string | undefined;
}

export const servosOf = ({ info }: Pick<LiveHand, 'info'>): Servo[] =>
  info.actuators.flatMap(({ role, kind, speedCurlPerS, unused }) =>
    kind !== 'vibration' && (FINGERS as readonly string[]).includes(role)
      ? [
          {
            finger: role as Finger,
            kind,
            perS: speedCurlPerS,
            unused: unused && `${unused.reason}. ${unused.remedy}`,
          },
        ]
      : [],
  );
