import type { FitReport } from '../../guide/report.js';
import { changesByFit, medianOf, type RangeChange, type Ranges } from '../fit-change.js';
import { Heads } from './heads.js';
import { roleText } from './words.js';

/** A channel that repeats better than this is well fitted, degrees. Common practice. */
const WELL_DEG = 4;
const HEADS = ['Channel', 'Counts before', 'Counts, open to closed', 'Repeats to'] as const;

interface FitFindingProps {
  fit: FitReport;
  /** Ranges that were in use while it was made. */
  before: Ranges;
  accept(): void;
}

/** A fit: how well it repeats, what it changes, and the way to use it. */
export function FitFinding({ fit, before, accept }: FitFindingProps) {
  const { channels, residualDeg, warnings, pinchGapMm, accepted, person } = fit;
  const changes = changesByFit(channels, before);
  const gap =
    pinchGapMm === undefined
      ? ''
      : `; in the pinch, thumb and index tip are ${Math.abs(pinchGapMm).toFixed(0)} mm ${pinchGapMm < 0 ? 'into each other' : 'apart'}`;
  return (
    <article class="card findings">
      <h3>{accepted ? `✓ In use${person ? ` for ${person}` : ''}` : 'The fit is ready'}</h3>
      <p class="lead">{`Poses repeat to within ${residualDeg.toFixed(1)}° on average${gap}.`}</p>
      <Change changes={changes} />
      {warnings.map((line) => (
        <p key={line} class="remedy">
          {named(line, channels)}
        </p>
      ))}
      {!accepted && (
        <button type="button" class="main big" onClick={accept}>
          Use this fit
        </button>
      )}
      <table class="forces">
        <Heads of={HEADS} />
        <tbody>
          {channels.map((channel) => (
            <Row key={channel.role} channel={channel} changes={changes} />
          ))}
        </tbody>
      </table>
    </article>
  );
}

function Change({ changes }: { changes: readonly RangeChange[] }) {
  const median = medianOf(changes.map(({ off }) => off));
  if (median === undefined) return null;
  return (
    <p class="fit-change">
      {`The ranges before read an open or a closed hand ${Math.round(median * 100)} % of the way off (median of ${changes.length} channels); this fit reads them right.`}
    </p>
  );
}

function Row({
  channel: { role, open, closed, residualDeg },
  changes,
}: {
  channel: FitReport['channels'][number];
  changes: readonly RangeChange[];
}) {
  const change = changes.find((one) => one.role === role);
  return (
    <tr>
      <th scope="row">{roleText(role)}</th>
      <td>{change ? countsText(change.before) : '–'}</td>
      <td>{countsText({ open, closed })}</td>
      <td>{`${residualDeg <= WELL_DEG ? '✓' : '⚠'} ${residualDeg.toFixed(1)}°`}</td>
    </tr>
  );
}

const countsText = ({ open, closed }: { open: number; closed: number }): string =>
  `${Math.round(open)} to ${Math.round(closed)}`;

/** `index.curl: …`, as the command line says it. */
function named(line: string, channels: FitReport['channels']): string {
  const of = channels.find(({ role }) => line.startsWith(`${role}: `));
  return of ? roleText(of.role) + line.slice(of.role.length) : line;
}
