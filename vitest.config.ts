import { defineConfig } from 'vitest/config';

const GUIDED = ['guided', 'page-guide'].map((name) => `tests/end-to-end/${name}.test.ts`);

export default defineConfig({
  test: {
    globalSetup: ['tests/setup.ts'],
    // Real processes and real time on a machine that others may use, too: a fault fails every time, a stall does not.
    retry: process.env.CI ? 2 : 0,
    projects: [
      {
        extends: true,
        test: {
          name: 'rooms',
          include: ['tests/**/*.test.ts'],
          exclude: ['tests/end-to-end/**'],
          testTimeout: 20_000,
          sequence: { groupOrder: 0 },
        },
      },
      {
        // Real processes and real time: one after the other, with the machine to themselves.
        extends: true,
        test: {
          name: 'end-to-end',
          include: ['tests/end-to-end/**/*.test.ts'],
          exclude: GUIDED,
          fileParallelism: false,
          testTimeout: 60_000,
          sequence: { groupOrder: 1 },
        },
      },
      {
        // Mostly waiting for a simulated wearer to do what is asked: side by side.
        extends: true,
        test: {
          name: 'guided',
          include: GUIDED,
          maxWorkers: GUIDED.length,
          testTimeout: 60_000,
          sequence: { groupOrder: 2 },
        },
      },
    ],
  },
});
