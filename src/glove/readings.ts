import { DOF_COUNT } from '../hand/dofs.js';
import { forwardKinematics } from '../hand/forward.js';
import { DOF_MAX, DOF_MIN } from '../hand/limits.js';
import type { DeviceState } from '../link/codec.js';
import type { GloveParts } from './lifecycle.js';
import { reportHealth, reportInputs, reportSignals } from './reports.js';
import type { Glove } from './view.js';

type Readings = Pick<
  Glove,
  'predict' | 'readInputs' | 'readSignals' | 'readMetrics' | 'readHealth' | 'rememberDrift'
>;

/**
 * What others may ask about a glove at any time.
 * @param device what the glove last said of its battery, temperature and faults
 */
export function createReadings(
  { chain, frame, wrist, link, codec, timeSync, time, counters, log, forces }: GloveParts,
  device: () => DeviceState | undefined,
): Readings {
  const aheadDofs = new Float64Array(DOF_COUNT);
  const hand = () => chain.now.description.hand;
  return {
    rememberDrift: () => chain.now.sensing.rememberDrift(),
    predict(aheadS, poses) {
      const { sensing, skeleton } = chain.now;
      for (let dof = 0; dof < DOF_COUNT; dof++) {
        const now = sensing.dofs[dof];
        const ahead = now + sensing.dofRates[dof] * aheadS;
        // Never further beyond a joint's range than it is now.
        aheadDofs[dof] = Math.max(Math.min(DOF_MIN[dof], now), Math.min(Math.max(DOF_MAX[dof], now), ahead));
      }
      forwardKinematics(skeleton, aheadDofs, poses, wrist.ahead(aheadS));
    },
    readInputs: () => reportInputs(hand(), chain.now.inputs, frame),
    readSignals: () => reportSignals(hand(), chain.now.sensing, frame.timeUs),
    readMetrics: () => ({
      counters: codec.counters,
      clock: timeSync.status,
      rateHz: counters.rateHz,
      poses: counters.poses,
      releases: forces.releases,
      interventions: counters.interventions(chain.now.resistance),
    }),
    readHealth: () => ({
      timeUs: time.nowUs(),
      ...reportHealth({
        hand: hand(),
        link: link.status,
        sensing: chain.now.sensing,
        rateHz: counters.rateHz,
        counters: codec.counters,
        device: device(),
        timeSync,
        serialPath: log.serialPath,
      }),
      wrist: wrist.report(time.nowUs()),
    }),
  };
}
