import { DOF_COUNT } from '../hand/dofs.js';
import { forwardKinematics } from '../hand/forward.js';
import type { DeviceState } from '../link/codec.js';
import type { WristReport } from '../protocol/wrist-report.js';
import { reportGestures } from './gesture-report.js';
import type { GloveParts } from './lifecycle.js';
import { reportHealth, reportInputs, reportSignals } from './reports.js';
import type { Glove } from './view.js';

type Readings = Pick<
  Glove,
  | 'predict'
  | 'rest'
  | 'readInputs'
  | 'readGestures'
  | 'readSignals'
  | 'readMetrics'
  | 'readHealth'
  | 'rememberDrift'
>;

/**
 * What others may ask about a glove at any time.
 * @param device what the glove last reported of its battery, temperature and faults
 */
export function createReadings(
  { chain, frame, wrist, otherHand, link, codec, timeSync, time, counters, log, forces }: GloveParts,
  device: () => DeviceState | undefined,
): Readings {
  const shownDofs = new Float64Array(DOF_COUNT);
  const hand = () => chain.now.description.hand;
  return {
    rememberDrift: () => chain.now.sensing.rememberDrift(),
    predict(aheadS, poses) {
      const { sensing, skeleton } = chain.now;
      forwardKinematics(skeleton, sensing.predict(aheadS), poses, wrist.ahead(aheadS));
    },
    rest(aheadS, poses, pressures) {
      const { sensing, skeleton, resting } = chain.now;
      resting.update(frame.timeUs, sensing.dofs, forces.contactsNow(), sensing.curl, forces.givesNow());
      const dofs = aheadS > 0 ? sensing.predict(aheadS) : sensing.dofs;
      shownDofs.set(dofs);
      resting.rest(shownDofs);
      forwardKinematics(skeleton, shownDofs, poses, aheadS > 0 ? wrist.ahead(aheadS) : wrist.root);
      pressures.set(resting.pressures);
    },
    readInputs: () => reportInputs(hand(), chain.now.inputs, frame),
    readGestures: () => reportGestures(hand(), chain.now.gestures, frame, forces.touched()),
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
        serialPath: log.serialPath(),
      }),
      wrist: bothHands(wrist.report(time.nowUs()), otherHand.report()),
    }),
  };
}

/** What is amiss with this hand alone is said first. */
const bothHands = (
  own: WristReport,
  { overlap, note }: Pick<WristReport, 'overlap' | 'note'>,
): WristReport => ({
  ...own,
  ...(overlap ? { overlap } : {}),
  ...(note !== undefined && own.note === undefined ? { note } : {}),
});
