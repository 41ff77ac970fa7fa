import type { FittedChannel } from '../sensing/fit.js';
import type { GloveProfile } from './schema.js';

/** A glove's profile with the fitted channels in place of what the profile says of them. */
export function mergeFit<T extends Pick<GloveProfile, 'channels'>>(
  glove: T,
  fitted: readonly Omit<FittedChannel, 'residualDeg' | 'poses'>[],
): T {
  const channels = glove.channels.map((channel) => {
    // Counts of another converter say nothing of this one.
    const fit = fitted.find(({ role, bits }) => role === channel.role && bits === channel.bits);
    if (!fit) return channel;
    const { curve: _curve, centre: _centre, ...rest } = channel;
    const { open, closed, centre, curve } = fit;
    return {
      ...rest,
      open,
      closed,
      inverted: false,
      ...(centre === undefined ? {} : { centre }),
      ...(curve === undefined
        ? {}
        : { curve: curve.map(([counts, value]): [number, number] => [counts, value]) }),
    };
  });
  return { ...glove, channels };
}
