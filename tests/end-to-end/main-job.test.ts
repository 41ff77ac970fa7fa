import { describe } from 'vitest';
import { startHostGlove } from '../firmware/host-glove.js';
import { hostLinkGlove } from './host-link-glove.js';
import { linkTest } from './link-test.js';
import { hostGloveProfile } from './service.js';

describe('from bytes to a hand and back, with the real firmware over a pseudo-terminal', () => {
  linkTest(async () => {
    const sampleRateHz = 250;
    const host = await startHostGlove(['--rate', String(sampleRateHz)]);
    return hostLinkGlove(host, {
      profile: hostGloveProfile(host.pty),
      sampleRateHz,
      quit: () => host.quit(),
    });
  });
});
