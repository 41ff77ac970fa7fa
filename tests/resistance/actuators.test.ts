import { describe, expect, it } from 'vitest';
import { paidOutStop, wireStop } from '../../src/link/wire-stop.js';
import { MAX_ACTUATORS, STOP_FREE, STOP_MAX } from '../../src/protocol/link-table.js';
import {
  ActuatorCommands,
  BRAKE_RAMP,
  fingerDrivesOf,
  orderAsHello,
} from '../../src/resistance/actuators.js';
import { makeGovernorOutputs } from '../../src/resistance/governor-step.js';
import { all, FIVE_SERVOS, servo } from './profiles.js';

const given = (stop: number, drive: number) => {
  const outputs = makeGovernorOutputs();
  outputs.held.fill(1);
  outputs.stops.fill(stop);
  outputs.drives.fill(drive);
  return outputs;
};

describe('wire stops', () => {
  it.each([
    ['straight', servo('index'), 0, 0],
    ['straight', servo('index'), 1, STOP_MAX],
    [
      'part of the travel',
      servo('index', { stopAtOpen: 0.2, stopAtClosed: 0.8 }),
      0.5,
      Math.ceil(0.5 * STOP_MAX),
    ],
    [
      'mounted the other way round',
      servo('index', { stopAtOpen: 0.9, stopAtClosed: 0.1 }),
      0.25,
      Math.floor(0.7 * STOP_MAX),
    ],
    ['beyond the travel', servo('index'), 1.3, STOP_MAX],
    ['not a number', servo('index'), Number.NaN, STOP_FREE],
  ])('%s: %#', (_name, actuator, curl, expected) => {
    expect(wireStop(actuator, curl)).toBe(expected);
  });

  it('are rounded away from the finger, whichever way the servo turns', () => {
    for (let curl = 0; curl <= 1; curl += 0.0137) {
      expect(wireStop(servo('index'), curl) / STOP_MAX).toBeGreaterThanOrEqual(curl - 1e-12);
      const turned = wireStop(servo('index', { stopAtOpen: 1, stopAtClosed: 0 }), curl);
      expect(1 - turned / STOP_MAX).toBeGreaterThanOrEqual(curl - 1e-12);
    }
  });

  it('follow the string where its travel is known', () => {
    expect(wireStop(servo('index'), 0.5, (curl) => curl ** 2)).toBe(Math.ceil(0.25 * STOP_MAX));
  });

  it('pay a free string out beyond a closed finger', () => {
    expect(paidOutStop(servo('index', { stopAtOpen: 0, stopAtClosed: 0.8, slack: 0.05 }))).toBe(
      Math.ceil(0.84 * STOP_MAX),
    );
    expect(paidOutStop(servo('index'))).toBe(STOP_MAX);
  });
});

describe('actuators of a glove', () => {
  it('are put in the order of the hello, and stay free where the profile does not know them', () => {
    const profiles = [servo('index'), servo('thumb'), servo('index', { stallTorqueNm: 0.3 })];
    const ordered = orderAsHello(profiles, {
      actuators: [
        { role: 'thumb', kind: 'stringStop' },
        { role: 'index', kind: 'stringStop' },
        { role: 'palm', kind: 'vibration' },
        { role: 'index', kind: 'stringStop' },
      ],
    });
    expect(ordered).toEqual([profiles[1], profiles[0], undefined, profiles[2]]);
    const commands = new ActuatorCommands(ordered);
    commands.update(given(0.5, 1), all(0.4));
    expect([...commands.efforts]).toEqual([255, 255, 0, 255]);
    expect(commands.stops[2]).toBe(STOP_FREE);
  });

  it('are never more than a frame holds', () => {
    expect(new ActuatorCommands(new Array(12).fill(servo('index'))).count).toBe(MAX_ACTUATORS);
  });

  it('give a fingerDrive with their strengths added up and the more careful limits', () => {
    const [, index, middle] = fingerDrivesOf([
      servo('index', { maxHoldS: 5, coolS: 40 }),
      servo('index', { kind: 'brake', stallCurrentA: 0.3 }),
      servo('middle', { kind: 'vibration' }),
    ]);
    expect(index).toEqual({
      stallTensionN: 30,
      stallCurrentA: 1,
      maxHoldS: 5,
      coolS: 40,
      pulls: true,
      giveMmPerN: 0,
      speedCurlPerS: 5,
      heedsEffort: true,
    });
    expect(middle.stallTensionN).toBe(0);
    const [, hobby] = fingerDrivesOf([
      servo('index', { torqueControl: false }),
      servo('index', { kind: 'brake' }),
    ]);
    expect(hobby.heedsEffort).toBe(false);
  });

  it('round efforts down, and a stop without effort is free', () => {
    const commands = new ActuatorCommands(FIVE_SERVOS);
    commands.update(given(0.5, 0.9999), all(0.4));
    expect(commands.efforts[0]).toBe(254);
    commands.update(given(0.5, 0.003), all(0.4));
    expect([commands.efforts[0], commands.stops[0]]).toEqual([0, STOP_FREE]);
    commands.update(given(0.5, 1), all(0.4));
    commands.free();
    expect([commands.efforts[0], commands.stops[0]]).toEqual([0, STOP_FREE]);
  });

  it('never hold by vibration', () => {
    const commands = new ActuatorCommands([servo('index', { kind: 'vibration' })]);
    commands.update(given(0.5, 1), all(0.7));
    expect([commands.efforts[0], commands.stops[0]]).toEqual([0, STOP_FREE]);
  });
});

describe('a brake', () => {
  const brake = () => new ActuatorCommands([servo('index', { kind: 'brake' })]);
  const effortAt = (commands: ActuatorCommands, curl: number) => {
    commands.update(given(0.5, 1), all(curl));
    return commands.efforts[0];
  };

  it('grips the more the deeper the finger is past the stop', () => {
    const commands = brake();
    expect(effortAt(commands, 0.5)).toBe(0);
    expect(effortAt(commands, 0.5 + BRAKE_RAMP / 2)).toBe(127);
    expect(effortAt(commands, 0.5 + BRAKE_RAMP * 2)).toBe(255);
  });

  it('lets go of a finger that opens, and grips again when it closes', () => {
    const commands = brake();
    effortAt(commands, 0.7);
    expect(effortAt(commands, 0.7 - BRAKE_RAMP / 2)).toBeLessThan(128);
    expect(effortAt(commands, 0.7 - BRAKE_RAMP)).toBe(0);
    expect(effortAt(commands, 0.62)).toBe(0);
    expect(effortAt(commands, 0.62 + BRAKE_RAMP)).toBe(255);
  });

  it('forgets nothing over a reading that is not a number', () => {
    const commands = brake();
    effortAt(commands, 0.7);
    expect(effortAt(commands, Number.NaN)).toBe(0);
    expect(effortAt(commands, 0.7)).toBe(255);
  });
});
