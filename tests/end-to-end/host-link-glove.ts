import { setTimeout as pause } from 'node:timers/promises';
import type { HostGlove } from '../firmware/host-glove.js';
import { BEND_MS, type LinkGlove, type ServoState } from './link-test.js';

/** The firmware on this computer as the link test wants it; `more` says how the service reaches it. */
export function hostLinkGlove(
  host: HostGlove,
  more: Pick<LinkGlove, 'profile' | 'sampleRateHz' | 'env' | 'quit'>,
): LinkGlove {
  const timeUs = async () => (await host.ask<{ deviceUs: number }>('stats')).deviceUs;
  return {
    ...more,
    async bend(finger, curl) {
      const doneUs = (await timeUs()) + BEND_MS * 1000;
      await host.command(`ramp ${finger}.curl ${curl} ${BEND_MS}`);
      while ((await timeUs()) < doneUs) await pause(5);
    },
    curl: async (finger) => (await host.ask<{ value: number }>(`get ${finger}.curl`)).value,
    async servos() {
      const servos = await host.ask<(ServoState & { servo: string })[]>('servos');
      return Object.fromEntries(servos.map((servo) => [servo.servo, servo]));
    },
    disturb: () => host.command('garbage 200'),
    async freedAfterMs(act) {
      const freed = host.nextEvent('watchdog');
      const fromUs = await timeUs();
      act();
      return ((await freed).deviceUs - fromUs) / 1000;
    },
  };
}
