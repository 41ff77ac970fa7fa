import type { CheckReport, GuideReport, MountReport } from '../../guide/report.js';
import type { GuideSession } from '../guide-session.js';
import { FitFinding } from './fit-finding.js';
import { roleText, sentence, verdictText } from './words.js';

/** Where one goes on from what was found. */
interface Ways {
  /** Undefined: there are none to be tried. */
  tryServos: (() => void) | undefined;
  openProfile(role: string): void;
}

/** What a finished run found, in plain words. */
export function Findings({
  report,
  session,
  ...ways
}: { report: GuideReport; session: GuideSession } & Ways) {
  const { state, reason, check, fit, mount } = report;
  if (state === 'stopped') return <p class="card bad">{reason ?? 'Stopped.'}</p>;
  if (state !== 'done') return null;
  if (fit) return <FitFinding fit={fit} before={session.before} accept={() => session.accept()} />;
  if (mount) return <MountFinding mount={mount} accept={session.accept} />;
  return check ? <CheckFinding check={check} {...ways} /> : null;
}

function CheckFinding({ check, tryServos, openProfile }: { check: CheckReport } & Ways) {
  const { ok, channels, buttons = [], link } = check;
  // What is wrong comes first.
  const sorted = [...channels].sort(
    (a, b) => Number(a.verdict === 'healthy') - Number(b.verdict === 'healthy'),
  );
  const linkText = `${Math.round(link.rateHz)} samples a second, ${link.lost} lost, jitter ${link.jitterMs.toFixed(1)} ms`;
  return (
    <article class="card findings" data-ok={String(ok)}>
      <h3>{checkHeading(check)}</h3>
      <ul>
        {!link.ok && <Finding name="Link" good={false} verdict="Not well" lines={[linkText, link.remedy]} />}
        {sorted.map(({ role, ...found }) => (
          <Verdict
            key={role}
            name={roleText(role)}
            {...found}
            openProfile={found.verdict === 'reversed' ? () => openProfile(role) : undefined}
          />
        ))}
        {buttons.map(({ name, ...found }) => (
          <Verdict key={name} name={`Button ${name}`} {...found} />
        ))}
        {link.ok && <Finding name="Link" good verdict="Well" lines={[linkText]} />}
      </ul>
      {tryServos && (
        <div class="actions">
          <p>Servos: not tried by this check.</p>
          <button type="button" onClick={tryServos}>
            Try the servos
          </button>
        </div>
      )}
    </article>
  );
}

/** What is well is said beside what is not: of a link alone, and never of servos, which a check does not try. */
export function checkHeading({ ok, channels, buttons = [], link }: CheckReport): string {
  if (ok) return '✓ Sensors and link are well';
  const faults = [...channels, ...buttons].filter(
    ({ verdict }) => verdict !== 'healthy' && verdict !== 'notPressed',
  ).length;
  if (faults === 0) return '⚠ Sensors are well; the link needs a look';
  const look = `⚠ ${faults} ${faults === 1 ? 'thing needs' : 'things need'} a look`;
  return link.ok ? look : `${look}, and so does the link`;
}

interface VerdictProps {
  name: string;
  verdict: string;
  evidence: string;
  remedy: string;
  openProfile?: (() => void) | undefined;
}

const Verdict = ({ name, verdict, evidence, remedy, openProfile }: VerdictProps) => (
  <Finding
    name={name}
    good={verdict === 'healthy'}
    verdict={verdictText(verdict)}
    lines={[evidence, remedy].map(sentence)}
    openProfile={openProfile}
  />
);

interface FindingProps {
  name: string;
  good: boolean;
  verdict: string;
  /** Empty ones are left out. */
  lines: readonly string[];
  openProfile?: (() => void) | undefined;
}

const Finding = ({ name, good, verdict, lines, openProfile }: FindingProps) => (
  <li class="finding" data-good={String(good)}>
    <strong>{name}</strong>
    <span class="verdict-word">{`${good ? '✓' : '⚠'} ${verdict}`}</span>
    {lines.filter(Boolean).map((line) => (
      <p key={line}>{line}</p>
    ))}
    {openProfile && (
      <div class="actions">
        <button type="button" aria-label={`Open the profile at ${name}`} onClick={openProfile}>
          Open the profile
        </button>
      </div>
    )}
  </li>
);

interface MountFindingProps {
  mount: MountReport;
  accept: GuideSession['accept'];
}

function MountFinding({ mount, accept }: MountFindingProps) {
  const { fitted, line, accepted, person, sensors, sensorsAccepted = false } = mount;
  if (!fitted) {
    return (
      <article class="card findings" data-ok="false">
        <h3>⚠ The tracker is not fitted</h3>
        <p class="remedy">{`${line ?? ''} Nothing is kept: begin again.`}</p>
      </article>
    );
  }
  const { by, rotationDeg, translationM, residualM, slipped } = fitted;
  const off = slipped > 0 ? `; ${(slipped * 100).toFixed(0)} % of the time one was off it` : '';
  return (
    <article class="card findings" data-ok={String(by === 'touch')}>
      <h3>{accepted ? `✓ In use${person ? ` for ${person}` : ''}` : 'The place of the tracker is found'}</h3>
      <p class="lead">
        {`Known to ${rotationDeg.toFixed(1)}° and ${(translationM * 1000).toFixed(0)} mm, one standard deviation.`}
      </p>
      {by === 'touch' ? (
        <p>{`Fingertips missed the spot by ${(residualM * 1000).toFixed(1)} mm${off}.`}</p>
      ) : (
        <p class="remedy">
          ⚠ By nodding and waving alone. If the first nod was not down, it is the wrong way round: look before
          you use it.
        </p>
      )}
      {!accepted && (
        <button type="button" class="main big" onClick={() => accept()}>
          Use it
        </button>
      )}
      {accepted && sensors && (
        <SensorOffer sensors={sensors} done={sensorsAccepted} accept={() => accept('sensors')} />
      )}
    </article>
  );
}

interface SensorOfferProps {
  sensors: NonNullable<MountReport['sensors']>;
  done: boolean;
  accept(): void;
}

/** Sensors that the touches show to be off: put right only if the wearer says so. */
function SensorOffer({ sensors, done, accept }: SensorOfferProps) {
  if (done) return <p>✓ Sensors corrected. Undo below goes back, and keeps the tracker.</p>;
  return (
    <>
      <p>By these touches, some sensors read wrong:</p>
      <ul>
        {sensors.map(({ role, offDeg, residualDeg }) => (
          <li key={role}>
            {`${roleText(role)}: bent ${Math.abs(offDeg).toFixed(0)}° ${offDeg > 0 ? 'more' : 'less'} than it says (known to ${residualDeg.toFixed(0)}°)`}
          </li>
        ))}
      </ul>
      <button type="button" onClick={accept}>
        Correct these sensors
      </button>
    </>
  );
}
