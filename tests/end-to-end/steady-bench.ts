import type { HandSide } from '../../src/hand/joints.js';
import type { Body } from '../firmware/host-glove.js';
import { PHYSICAL_ACTUATOR, PHYSICAL_SAFETY, type TouchBench } from './touch-trials.js';
import { startTurnedChain, turnedProfile } from './turned-chain.js';

/** The service's whole chain for a glove with physics, with time turned by hand. */
export async function startSteadyBench(
  side: HandSide,
  gloveArgs: readonly string[] = [],
  strengthN = 5,
  latencyMs = 3,
): Promise<TouchBench> {
  const { glove, device, clock, startUs, wait, end } = await startTurnedChain({
    profile: turnedProfile(side, PHYSICAL_ACTUATOR, { safety: PHYSICAL_SAFETY }),
    gloveArgs: ['--physics', ...gloveArgs],
    latencyMs,
  });
  await device.command(`strength ${strengthN}`);
  glove.arm('wearer', 'wearer');

  return {
    side,
    nowMs: () => clock.nowUs() / 1000,
    deviceMs: (deviceUs) => (startUs + deviceUs) / 1000,
    wait,
    touch(request) {
      const refusal = glove.touch('app', request);
      if (refusal) throw new Error(refusal.message);
    },
    release: () => glove.release('app'),
    command: device.command,
    bodies: () => device.ask<Body[]>('bodies'),
    interruption: () => undefined,
    end,
  };
}
