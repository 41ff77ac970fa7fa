import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { createCollector } from '../../src/fleet/collector.js';
import { recordRaw } from '../../src/fleet/glove-publisher.js';
import { profileDigest, sessionStart } from '../../src/fleet/session-start.js';
import { withoutSecrets } from '../../src/recording/recorder.js';
import { createHandClock, simulatedGloves, simulatedProfile } from '../recording/live-glove.js';

const RUN = '0123456789abcdef';
const STATION = { site: 'lab', station: 'bench' };

/** What two collectors write of two seconds of a station, in turns. @returns their files */
export async function makePieces(folder: string): Promise<string[]> {
  const clock = createHandClock();
  const profile = simulatedProfile(['right'], 100);
  const gloves = simulatedGloves(profile, clock);
  const recorded = withoutSecrets(profile);
  const digest = profileDigest(recorded);
  const sent: Uint8Array[] = [];
  const recorder = recordRaw(gloves[0], RUN, digest, (_kind, _hand, bytes) => void sent.push(bytes), clock);
  const sources = {
    run: RUN,
    digest,
    program: '0',
    epochNs: 1_900_000_000_000_000_000n,
    profile: recorded,
    gloves,
  };
  const start = sessionStart(sources, clock.nowUs());
  gloves[0].start();
  for (let quarter = 0; quarter < 8; quarter++) {
    await clock.runTo(clock.nowUs() + 250_000);
    recorder.flush();
  }
  await gloves[0].close();
  const collectors = ['c1', 'c2'].map((name) =>
    createCollector({ folder, name, ask() {}, failed: (error) => Promise.reject(error) }),
  );
  for (const [n, bytes] of sent.entries()) {
    const collector = collectors[n % 2];
    await collector.segment({ ...STATION, kind: 'raw', hand: 'right' }, bytes);
    await collector.start(STATION, start);
  }
  for (const collector of collectors) await collector.close();
  const home = join(folder, STATION.site, STATION.station);
  return readdirSync(home)
    .sort()
    .map((file) => join(home, file));
}
