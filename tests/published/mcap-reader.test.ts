import { execFileSync } from 'node:child_process';
import { expect, it } from 'vitest';
import { describeSession } from '../../src/recording/info.js';
import { openSession } from '../../src/recording/session.js';

// Source: the MCAP specification, version 0, by a reader in another language (read_mcap.py, from memory), which
// shares no code with this program nor with @mcap/core.
it.each(['everyday', 'grasp', 'faults'])('a reader of its own accord reads %s.mcap', (name) => {
  const path = `config/sessions/${name}.mcap`;
  const read = JSON.parse(
    execFileSync('python3', ['tests/published/read_mcap.py', path], { encoding: 'utf8' }),
  );
  expect(read.profile).toBe('tautline');
  const session = openSession(path);
  const counted: Record<string, number> = {};
  const count = (channel: string) => (hand: string) => {
    counted[`${hand}/${channel}`] = (counted[`${hand}/${channel}`] ?? 0) + 1;
  };
  session.visit({
    received: count('received'),
    sent: count('sent'),
    glove: count('glove'),
    fits: count('fits'),
    status: count('status'),
    request: count('request'),
    health: count('health'),
    resistance: count('resistance'),
  });
  const { marks, complete } = describeSession(session);
  session.close();
  expect(complete).toBe(true);
  expect(read.counts).toEqual({
    ...counted,
    session: 1,
    profile: 1,
    ...(marks.length ? { mark: marks.length } : {}),
  });
});
