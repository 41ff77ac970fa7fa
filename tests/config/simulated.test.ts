import { expect, it } from 'vitest';
import { loadProfile } from '../../src/config/load.js';
import { SIMULATED_ACTUATORS, SIMULATED_CHANNELS } from '../../src/link/simulated-glove.js';
import { SIMULATED_BUTTONS } from '../../src/link/simulated-motion.js';

it('config/simulated.yaml says of the simulated glove what the simulated glove is', async () => {
  const { gloves } = await loadProfile(new URL('../../config/simulated.yaml', import.meta.url).pathname);
  expect(gloves).toHaveLength(1);
  const { channels, actuators, buttons } = gloves[0];
  expect(channels.map(({ role, open, closed }) => ({ role, open, closed }))).toEqual(SIMULATED_CHANNELS);
  expect(actuators.map(({ role }) => role)).toEqual(SIMULATED_ACTUATORS);
  expect(buttons).toEqual(SIMULATED_BUTTONS);
});
