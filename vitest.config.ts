import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['tests/**/*.test.ts'],
    globalSetup: ['tests/setup.ts'],
    testTimeout: 20_000,
    pool: 'forks',
  },
});
