import { setTimeout as pause } from 'node:timers/promises';
import { describe } from 'vitest';
import { startHostGlove } from '../firmware/host-glove.js';
import { BEND_MS, linkTest, type ServoState } from './link-test.js';
import { hostGloveProfile } from './service.js';

describe('from bytes to a hand and back, with the real firmware over a pseudo-terminal', () => {
  linkTest(async () => {
    const sampleRateHz = 250;
    const host = await startHostGlove(['--rate', String(sampleRateHz)]);
    const timeUs = async () => (await host.ask<{ deviceUs: number }>('stats')).deviceUs;
    return {
      profile: hostGloveProfile(host.pty),
      sampleRateHz,
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
      quit: () => host.quit(),
    };
  });
});
