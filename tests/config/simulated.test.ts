import { expect, it } from 'vitest';
import { loadProfile } from '../../src/config/load.js';
import { SIMULATED_ACTUATORS, SIMULATED_CHANNELS } from '../../src/link/simulated-glove.js';
import { SIMULATED_BUTTONS } from '../../src/link/simulated-motion.js';

it.each([
  ['simulated.yaml', ['right']],
  ['simulated-hands.yaml', ['right', 'left']],
])('config/%s says of the simulated glove what the simulated glove is', async (name, hands) => {
  const { gloves } = await loadProfile(new URL(`../../config/${name}`, import.meta.url).pathname);
  expect(gloves.map(({ hand }) => hand)).toEqual(hands);
  for (const { channels, actuators, buttons } of gloves) {
    expect(channels.map(({ role, open, closed }) => ({ role, open, closed }))).toEqual(SIMULATED_CHANNELS);
    expect(actuators.map(({ role }) => role)).toEqual(SIMULATED_ACTUATORS);
    expect(buttons).toEqual(SIMULATED_BUTTONS);
  }
});
