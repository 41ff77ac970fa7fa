import { execFileSync } from 'node:child_process';
import { expect, it } from 'vitest';

/** In a process of its own, whose collector is kept from working meanwhile. */
it('with reusePoses, a pose and a frame cost one view of the bytes that came, and a grab nothing', () => {
  const flags = ['--expose-gc', '--min-semi-space-size=64', '--max-semi-space-size=64'];
  const args = ['tests/client/javascript/allocation.mjs', '3000', 'reuse'];
  const { bytes, collections, seen } = JSON.parse(
    execFileSync(process.execPath, [...flags, ...args], { encoding: 'utf8' }),
  );
  expect({ collections, seen }).toEqual({ collections: 0, seen: true });
  // A DataView of V8 takes about 60 bytes; a pose of its own more than 1300.
  expect(bytes).toBeLessThan(110);
});
