import type { FitsAnswer } from '../glove/kept-fits.js';
import type { FitReport, MountReport, StopsReport } from '../guide/report.js';
import { wrap } from './shared/wrap.js';

/** What a fit found, and what is kept, in words for a terminal of 80 columns. */

/** What was found of the string stops, for a terminal of 80 columns. */
export function stopLines({ fitted, unfitted }: StopsReport): string[] {
  const lines = ['stop       at open  at closed   points off the line by'];
  for (const { role, stopAtOpen, stopAtClosed, residual, points } of fitted) {
    const [open, closed] = [stopAtOpen, stopAtClosed].map((at) => at.toFixed(3).padStart(7));
    lines.push(
      `${role.padEnd(11)}${open}    ${closed}   ${(residual * 100).toFixed(1)} % of the way (${points} points)`,
    );
  }
  for (const { role, remedy } of unfitted) {
    for (const [i, line] of wrap(`${role}: not found. ${remedy}`, COLUMNS - 2).entries())
      lines.push(`${i === 0 ? '! ' : '  '}${line}`);
  }
  return lines;
}

const COLUMNS = 80;

/** What was found of the mount, for a terminal of 80 columns. */
export function mountLines({ fitted, sensors }: MountReport): string[] {
  if (!fitted) return [];
  const { mount, by, rotationDeg, translationM, residualM, slipped, jointBias } = fitted;
  const [x, y, z] = mount.slice(0, 3).map((m) => (m * 1000).toFixed(0));
  const lines = [
    `The wrist is at ${x}, ${y}, ${z} mm of the tracker (x, y, z).`,
    `Known to ${rotationDeg.toFixed(1)} degrees and ${(translationM * 1000).toFixed(1)} mm (one standard deviation).`,
  ];
  if (by === 'motion') {
    lines.push('! By nodding and waving alone: it comes out better with fingertips on a spot.');
    lines.push('! If the first nod was not down, it is the wrong way round: look before you keep it.');
    return lines;
  }
  const slips = slipped > 0 ? `; ${(slipped * 100).toFixed(0)} % of the time one was off it` : '';
  lines.push(`Fingertips missed the spot by ${(residualM * 1000).toFixed(1)} mm rms${slips}.`);
  const off = (Math.max(0, ...(jointBias ?? []).map(Math.abs)) * 180) / Math.PI;
  if (off > 5 && !sensors) {
    const advice = `A joint is off by up to ${off.toFixed(0)} degrees by this: \`tautline fit\` fits the fingers again.`;
    for (const [i, line] of wrap(advice, COLUMNS - 2).entries())
      lines.push(`${i === 0 ? '! ' : '  '}${line}`);
  }
  return lines;
}

/** Which sensors are off by the touches, for a terminal of 80 columns. */
export const sensorLines = ({ sensors = [] }: MountReport): string[] => [
  'By these touches, some sensors read wrong:',
  ...sensors.map(({ role, offDeg, residualDeg }) => {
    const way = offDeg > 0 ? 'more' : 'less';
    return `  ${role.padEnd(14)}bent ${Math.abs(offDeg).toFixed(0)} degrees ${way} than it says (known to ${residualDeg.toFixed(0)})`;
  }),
];

/** What was found, for a terminal of 80 columns. */
export function fitLines({ channels, residualDeg, warnings, pinchGapMm }: FitReport): string[] {
  const lines = ['channel          open  closed   shape      repeated poses differ by'];
  for (const { role, open, closed, curve, residualDeg: residual, poses } of channels) {
    const shape = curve ? 'measured' : 'as known';
    const differ = poses > 1 && residual > 0 ? `${residual.toFixed(1)} degrees (${poses} poses)` : '-';
    lines.push(
      `${role.padEnd(14)}${String(Math.round(open)).padStart(7)}${String(Math.round(closed)).padStart(8)}   ${shape.padEnd(11)}${differ}`,
    );
  }
  lines.push('', `Repeated poses differ by ${residualDeg.toFixed(1)} degrees rms.`);
  if (pinchGapMm !== undefined) {
    const gap = Math.abs(pinchGapMm).toFixed(0);
    lines.push(
      `In the pinch, thumb and index tip ${pinchGapMm > 0 ? `were ${gap} mm apart` : `overlapped by ${gap} mm`} by this fit.`,
    );
  }
  for (const warning of warnings) {
    for (const [i, line] of wrap(warning, COLUMNS - 2).entries())
      lines.push(`${i === 0 ? '! ' : '  '}${line}`);
  }
  return lines;
}

/** A line a fit, newest first. */
export function listLines({ fits }: FitsAnswer, onlyInUse = false): string[] {
  const shown = [...fits].reverse().filter(({ inUse }) => inUse || !onlyInUse);
  if (shown.length === 0) return ["No fit: the profile's own numbers are used."];
  return shown.map((one) => {
    const { savedAt, person, kind, channels, actuators, residualDeg, rmsMm, inUse, undone } = one;
    const what =
      kind === 'bones'
        ? `bones, ${rmsMm?.toFixed(1)} mm rms`
        : kind === 'mount'
          ? `mount, ${one.rotationDeg?.toFixed(1)} deg, ${one.translationMm?.toFixed(1)} mm`
          : kind === 'actuators'
            ? `${actuators} string stops`
            : kind === 'feel'
              ? feelText(one.feel)
              : `${channels} sensors, ${residualDeg?.toFixed(1)} deg rms${one.fromUse ? ', from use' : ''}`;
    const state = inUse ? 'in use' : undone ? 'undone' : '';
    return `${savedAt.slice(0, 16).replace('T', ' ')}  ${person.padEnd(16)}  ${what.padEnd(26)}  ${state}`.trimEnd();
  });
}

/** `feel: effort, chosen 3 to 1` */
const feelText = (feel: FitsAnswer['fits'][number]['feel']): string =>
  feel ? `feel: ${feel.tried}, ${feel.chosen.join(' to ')}` : 'feel';
