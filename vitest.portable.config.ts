import { defineConfig } from 'vitest/config';

/**
 * `npm run test:portable`: the tests that need nothing but Node, on any system. The others need what Linux has, or what
 * tests/setup.ts builds: pseudo-terminals and the firmware behind them, compilers, a browser, D-Bus, Python.
 */
const ROOMS = 'config,contact,guide,hand,mcap,page,protocol,resistance,sensing';
const OF_OTHER_ROOMS = [
  'tests/link/{cobs,crc16,frames,keeper,latency-advice,lines,simulated-glove,time-sync,vectors}.test.ts',
  'tests/published/{anthropometry,clock,cobs-crc,contact-distances,one-euro,string-excursion,three}.test.ts',
  'tests/published/webxr-*.test.ts',
];

export default defineConfig({
  test: {
    include: [`tests/{${ROOMS}}/**/*.test.ts`, 'tests/*.test.ts', ...OF_OTHER_ROOMS],
    setupFiles: ['tests/properties.ts'],
    testTimeout: 600_000,
    isolate: false,
    retry: process.env.CI ? 2 : 0,
  },
});
