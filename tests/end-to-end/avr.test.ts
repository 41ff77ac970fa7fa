import { setTimeout as pause } from 'node:timers/promises';
import { describe } from 'vitest';
import { AVR_RANGE, startAvrGlove } from '../firmware/avr-glove.js';
import { BEND_MS, linkTest } from './link-test.js';
import { hostGloveProfile } from './service.js';

describe('from bytes to a hand and back, with the firmware of an 8-bit controller, simulated', () => {
  linkTest(async () => {
    const glove = await startAvrGlove();
    const everyServo = (fits: (servo: { free: boolean }) => boolean) =>
      Object.values(glove.servos).every(fits);
    return {
      profile: hostGloveProfile(glove.pty, 'right', AVR_RANGE),
      sampleRateHz: 200,
      bend: (finger, curl) => glove.bend(finger, curl, BEND_MS),
      curl: async (finger) => glove.curl(finger),
      servos: async () => glove.servos,
      async disturb() {
        const noise = Uint8Array.from({ length: 200 }, (_, i) => (i * 73 + 11) % 256);
        glove.disturb(noise);
        glove.chip.send(noise);
      },
      async freedAfterMs(act) {
        const fromUs = glove.chip.timeUs;
        act();
        while (!everyServo(({ free }) => free)) await pause(5);
        const lastUs = Math.max(...Object.values(glove.servos).map(({ freeSinceUs }) => freeSinceUs));
        return (lastUs - fromUs) / 1000;
      },
      quit: () => glove.quit(),
    };
  });
});
