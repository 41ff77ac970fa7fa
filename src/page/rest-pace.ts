import type { Live } from './live.js';

/** Poses and samples a second of a hand that rests and is glanced at. The first move comes at once all the same. */
export const REST_HZ = 4;

/** Takes less of a hand that rests, as long as the part that is shown measures nothing. */
export interface RestPace {
  /** @param glanced the part that is shown measures nothing */
  glance(glanced: boolean): void;
}

export const createRestPace = ({ client }: Pick<Live, 'client'>): RestPace => ({
  glance: (glanced) => client.adjust({ restHz: glanced ? REST_HZ : undefined }),
});
