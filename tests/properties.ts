import { configureGlobal } from 'fast-check';

/**
 * Property tests draw the same examples at every run, so that what fails fails again, also at CI's second try.
 * To look further: TAUTLINE_SEED=2 npx vitest run tests/sensing
 */
configureGlobal({ seed: Number(process.env.TAUTLINE_SEED ?? 1) });
