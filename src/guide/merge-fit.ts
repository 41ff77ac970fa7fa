import type { GloveProfile } from '../config/schema.js';
import type { FittedStop } from './actuator-fit.js';
import type { FittedChannel } from './fit.js';

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

/** A glove's profile with the fitted string stops in place of what the profile says of them. */
export function mergeStops<T extends Pick<GloveProfile, 'actuators'>>(
  glove: T,
  fitted: readonly Pick<FittedStop, 'role' | 'stopAtOpen' | 'stopAtClosed'>[],
): T {
  const actuators = glove.actuators.map((actuator) => {
    const fit = fitted.find(({ role }) => role === actuator.role);
    if (!fit || actuator.kind !== 'stringStop') return actuator;
    // A servo that is mounted the other way round since then is not the one that was fitted.
    const turned = fit.stopAtClosed > fit.stopAtOpen !== actuator.stopAtClosed > actuator.stopAtOpen;
    return turned ? actuator : { ...actuator, stopAtOpen: fit.stopAtOpen, stopAtClosed: fit.stopAtClosed };
  });
  return { ...glove, actuators };
}
