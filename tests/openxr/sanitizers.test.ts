import { execFileSync } from 'node:child_process';
import { beforeAll, describe, expect, it } from 'vitest';
import { type Build, buildAllBeside, buildHostile } from './build.js';
import { pause } from './peer.js';
import { at, attachGrip, endWell, FULL, input, SIDES, SIMPLE, useRig } from './rig.js';

const rig = useRig();
const builds: Record<string, Build> = {};
let hostile: string;
beforeAll(async () => {
  const kinds = ['address', 'thread'] as const;
  const made = Promise.all(kinds.map((kind) => buildAllBeside(kind)));
  hostile = await buildHostile();
  for (const [i, build] of (await made).entries()) builds[kinds[i]] = build;
}, 1_200_000);

describe.each(['thread', 'address'] as const)('under the %s sanitizer', (sanitizer) => {
  const env = {
    TSAN_OPTIONS: 'halt_on_error=1',
    // The loader keeps what it read of manifests until the process ends.
    ASAN_OPTIONS: 'detect_leaks=0',
    UBSAN_OPTIONS: 'print_stacktrace=1',
  };

  it('four threads locate a hand that comes and goes, and no pose is torn', async () => {
    const { peer } = rig;
    for (const side of SIDES) peer.wear(side);
    const app = rig.start({ build: builds[sanitizer], env });
    await app.world(`controller right ${SIMPLE}`, `grip right ${at(0, 1, 0).join(' ')}`);
    await app.open('XR_EXT_hand_tracking');
    await peer.subscribed();
    await attachGrip(app);
    await app.do('tracker right right', 'frames 1', 'sync game');
    let done = false;
    const storm = (async () => {
      for (let i = 0; !done; i++) {
        // Now and then ten at a time.
        for (let k = i % 5 ? 1 : 10; k > 0; k--) peer.sendPoses();
        if (i % 40 === 39) for (const socket of peer.sockets) socket.terminate();
        await pause(2);
      }
    })();
    const answer = await app.do(`bench right local 6000 4`);
    done = true;
    await storm;
    expect(answer).toMatchObject({ torn: 0 });
    expect(Number(answer.active)).toBeGreaterThan(1000);
    await endWell(app);
  });

  it('an application does everything', async () => {
    const { peer } = rig;
    for (const side of SIDES) peer.wear(side);
    const app = rig.start({ build: builds[sanitizer], env, offers: 'time hands' });
    for (let turn = 0; turn < 2; turn++) {
      await app.world(`controller right ${FULL}`, 'camera left 0 1 0 0 0 0 1');
      await app.open('XR_EXT_hand_tracking', 'XR_EXT_hand_interaction', 'XR_EXT_hand_tracking_data_source');
      await peer.subscribed();
      await app.do('set game 0', 'action game fire bool left right', 'action game poke pose left right');
      await app.do('action game buzz haptic left right');
      const pairs = SIDES.flatMap((side) => [
        `fire ${input(side, 'trigger/value')}`,
        `poke ${input(side, 'poke_ext/pose')}`,
        `buzz /user/hand/${side}/output/haptic`,
      ]);
      await app.do(`suggest ${FULL} ${pairs.join(' ')}`, 'attach game', 'tracker left left sources=1');
      await app.do('space poke poke left', 'sync game', 'get fire left', 'profile left', 'sources fire');
      await app.do(
        'locate poke local',
        'locate local poke',
        'hands left view source',
        'vibrate buzz left 1 20000000 0',
      );
      await app.world('focus off');
      await app.do('poll');
      await app.ask('sync game');
      await app.do('destroy-space poke', 'drop left', 'destroy-session', 'destroy');
      peer.requests.length = 0;
    }
    expect(await app.quit()).toEqual({ code: 0, signal: null });
    expect(app.stderr).toBe('');
  });
});

it('a hostile stream does no harm', () => {
  // scripts/openxr-hostile.ts throws a million.
  const said = execFileSync(hostile, ['20000', '1'], { encoding: 'utf8' });
  expect(said).toContain('20000 messages');
});
