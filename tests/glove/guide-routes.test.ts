import { expect, it, onTestFinished } from 'vitest';
import type { GuideReport } from '../../src/guide/guide.js';
import { startService } from '../../src/service.js';
import { silent, simulatedProfile } from '../recording/live-glove.js';

it.each(['check', 'fit'])('ends the %s when the wearer says that the last move is made', async (task) => {
  // Ten samples a second: none comes between most of the requests.
  const profile = simulatedProfile(['right'], 10);
  profile.stream.port = 0;
  const service = await startService({ profile, logger: silent });
  onTestFinished(() => service.close());
  const post = async (path: string): Promise<GuideReport> => {
    const answer = await fetch(`http://${new URL(service.address).host}${path}`, { method: 'POST' });
    expect(answer.status).toBe(200);
    return (await answer.json()) as GuideReport;
  };
  let report = await post(`/guide?task=${task}`);
  while (report.state === 'running') report = await post('/guide/next');
  expect(report).toMatchObject({ state: 'done', [task]: {} });
  expect((await post('/guide/next')).state).toBe('done');
});
