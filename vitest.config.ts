import { defineConfig } from 'vitest/config';

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
          fileParallelism: false,
          testTimeout: 60_000,
          sequence: { groupOrder: 1 },
        },
      },
    ],
  },
});
