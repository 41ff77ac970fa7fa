import { expect, it } from 'vitest';
import { createStringModel, excursionMm, travelFromCountsMm } from '../../src/sensing/string-model.js';

// Source: J. Landsmeer's first model of tendon excursion, dL = h x theta at each joint ("Studies in the anatomy of
// articulation", Acta Morph. Neerl.-Scand. 3, 1961; cited from memory), worked by hand below.

it('gives the excursion of a string over three joints, worked by hand', () => {
  // MCP 90 deg = pi/2 at 12 mm: 18.850 mm. PIP 60 deg = pi/3 at 9 mm: 9.425 mm. DIP 40 deg = 2 pi/9 at 6 mm: 4.189 mm.
  const angles = [Math.PI / 2, Math.PI / 3, (2 * Math.PI) / 9];
  expect(excursionMm([12, 9, 6], angles)).toBeCloseTo(18.85 + 9.425 + 4.189, 2);
});

it('turns counts into travel, worked by hand', () => {
  // 12 bits over 270 deg on a spool of 10 mm: full scale is 1.5 pi x 10 = 47.124 mm; 1365 of 4095 is a third.
  expect(travelFromCountsMm(1365, 12, { spoolRadiusMm: 10, electricalTravelDeg: 270 })).toBeCloseTo(
    15.708,
    3,
  );
});

it('solves the curl of a finger whose joints all close evenly, worked by hand', () => {
  // MCP 0-90, PIP 0-100, DIP 0-66.67 deg, all in proportion: 12 x 1.5708 + 9 x 1.7453 + 6 x 1.1636 = 41.539 mm closed.
  const full = [Math.PI / 2, (100 * Math.PI) / 180, (200 * Math.PI) / 540];
  const model = createStringModel(
    { spoolRadiusMm: 10, electricalTravelDeg: 270, heightsMm: [12, 9, 6] },
    (curl, angles) => {
      for (let i = 0; i < 3; i++) angles[i] = curl * full[i];
    },
  );
  expect(model.fullTravelMm).toBeCloseTo(41.539, 2);
  // A third of the full scale of the potentiometer above, 15.708 mm, is 15.708 / 41.539 of the way.
  expect(model.curlAt(15.708)).toBeCloseTo(0.37815, 4);
  // And the spool has turned by 15.708 / 10 rad, a quarter turn.
  expect((model.shaftAngle(0.37815) * 180) / Math.PI).toBeCloseTo(90, 1);
});
