import { button, make } from '../dom.js';
import { changesByFit, medianOf, type Ranges } from '../fit-change.js';
import { roleText, sentence, verdictText } from './words.js';

export type Task = 'check' | 'fit' | 'mount';

/** What `GET /guide` answers. */
export interface GuideReport {
  hand: string;
  glove: string;
  state: 'idle' | 'running' | 'done' | 'stopped';
  task?: Task;
  reason?: string;
  move?: { name: string; prompt: string; number: number; count: number; part: number; bar?: number };
  check?: {
    ok: boolean;
    channels: { role: string; verdict: string; evidence: string; remedy: string; used: number }[];
    buttons?: { name: string; verdict: string; evidence: string; remedy: string }[];
    link: { ok: boolean; rateHz: number; promisedHz: number; lost: number; jitterMs: number; remedy: string };
  };
  fit?: {
    person: string;
    channels: { role: string; open: number; closed: number; residualDeg: number; poses: number }[];
    residualDeg: number;
    warnings: string[];
    pinchGapMm?: number;
    accepted: boolean;
  };
  mount?: {
    person: string;
    fitted?: {
      by: 'touch' | 'motion';
      rotationDeg: number;
      translationM: number;
      residualM: number;
      slipped: number;
    };
    line?: string;
    accepted: boolean;
    sensors?: { role: string; offDeg: number; residualDeg: number }[];
    sensorsAccepted?: boolean;
  };
}

/** A channel that repeats better than this is well fitted, degrees. Common practice. */
const WELL_DEG = 4;

/** Uses what was found; or a part of it that is offered apart. */
type Accept = (part?: 'sensors') => void;

/** What a finished run found, in plain words. */
export function findings(
  { state, reason, check, fit, mount }: GuideReport,
  accept: Accept,
  before: Ranges,
): HTMLElement[] {
  if (state === 'stopped') return [make('p', { class: 'card bad' }, reason ?? 'Stopped.')];
  if (state !== 'done') return [];
  if (fit) return [fitCard(fit, accept, before)];
  if (mount) return [mountCard(mount, accept)];
  return check ? [checkCard(check)] : [];
}

function checkCard({ ok, channels, buttons = [], link }: NonNullable<GuideReport['check']>): HTMLElement {
  const faults =
    [...channels, ...buttons].filter(({ verdict }) => verdict !== 'healthy' && verdict !== 'notPressed')
      .length + (link.ok ? 0 : 1);
  const title = ok
    ? '✓ The glove is well'
    : `⚠ ${faults} ${faults === 1 ? 'thing needs' : 'things need'} a look`;
  const entry = (name: string, good: boolean, verdict: string, lines: (string | undefined)[]) =>
    make(
      'li',
      { class: 'finding', 'data-good': String(good) },
      make('strong', {}, name),
      make('span', { class: 'verdict-word' }, `${good ? '✓' : '⚠'} ${verdict}`),
      ...lines.filter((line): line is string => Boolean(line)).map((line) => make('p', {}, line)),
    );
  // What is wrong comes first.
  const sorted = [...channels].sort(
    (a, b) => Number(a.verdict === 'healthy') - Number(b.verdict === 'healthy'),
  );
  const linkText = `${Math.round(link.rateHz)} samples a second, ${link.lost} lost, jitter ${link.jitterMs.toFixed(1)} ms`;
  return make(
    'article',
    { class: 'card findings', 'data-ok': String(ok) },
    make('h3', {}, title),
    make(
      'ul',
      {},
      ...(link.ok ? [] : [entry('Link', false, 'Not well', [linkText, link.remedy])]),
      ...sorted.map(({ role, verdict, evidence, remedy }) =>
        entry(roleText(role), verdict === 'healthy', verdictText(verdict), [evidence, remedy].map(sentence)),
      ),
      ...buttons.map(({ name, verdict, evidence, remedy }) =>
        entry(
          `Button ${name}`,
          verdict === 'healthy',
          verdictText(verdict),
          [evidence, remedy].map(sentence),
        ),
      ),
      ...(link.ok ? [entry('Link', true, 'Well', [linkText])] : []),
    ),
  );
}

function mountCard(
  { fitted, line, accepted, person, sensors, sensorsAccepted }: NonNullable<GuideReport['mount']>,
  accept: Accept,
): HTMLElement {
  if (!fitted) {
    return make(
      'article',
      { class: 'card findings', 'data-ok': 'false' },
      make('h3', {}, '⚠ The tracker is not fitted'),
      make('p', { class: 'remedy' }, `${line ?? ''} Nothing is kept: begin again.`),
    );
  }
  const { by, rotationDeg, translationM, residualM, slipped } = fitted;
  const off = slipped > 0 ? `; ${(slipped * 100).toFixed(0)} % of the time one was off it` : '';
  return make(
    'article',
    { class: 'card findings', 'data-ok': String(by === 'touch') },
    make(
      'h3',
      {},
      accepted ? `✓ In use${person ? ` for ${person}` : ''}` : 'The place of the tracker is found',
    ),
    make(
      'p',
      { class: 'lead' },
      `Known to ${rotationDeg.toFixed(1)}° and ${(translationM * 1000).toFixed(0)} mm, one standard deviation.`,
    ),
    by === 'touch'
      ? make('p', {}, `Fingertips missed the spot by ${(residualM * 1000).toFixed(1)} mm${off}.`)
      : make(
          'p',
          { class: 'remedy' },
          '⚠ By nodding and waving alone. If the first nod was not down, it is the wrong way round: look before you use it.',
        ),
    ...(accepted ? [] : [button('Use it', () => accept(), { class: 'main big' })]),
    ...(accepted && sensors ? sensorOffer(sensors, sensorsAccepted === true, accept) : []),
  );
}

/** Sensors that the touches show to be off: put right only if the wearer says so. */
function sensorOffer(
  sensors: NonNullable<NonNullable<GuideReport['mount']>['sensors']>,
  done: boolean,
  accept: Accept,
): HTMLElement[] {
  if (done) return [make('p', {}, '✓ Sensors corrected. Undo below goes back, and keeps the tracker.')];
  const line = ({ role, offDeg, residualDeg }: (typeof sensors)[number]) =>
    make(
      'li',
      {},
      `${roleText(role)}: bent ${Math.abs(offDeg).toFixed(0)}° ${offDeg > 0 ? 'more' : 'less'} than it says (known to ${residualDeg.toFixed(0)}°)`,
    );
  return [
    make('p', {}, 'By these touches, some sensors read wrong:'),
    make('ul', {}, ...sensors.map(line)),
    button('Correct these sensors', () => accept('sensors')),
  ];
}

function fitCard(fit: NonNullable<GuideReport['fit']>, accept: Accept, before: Ranges): HTMLElement {
  const { channels, residualDeg, warnings, pinchGapMm, accepted, person } = fit;
  const changes = changesByFit(channels, before);
  const median = medianOf(changes.map(({ off }) => off));
  const was = (role: string): string => {
    const change = changes.find((one) => one.role === role);
    return change ? `${Math.round(change.before.open)} to ${Math.round(change.before.closed)}` : '–';
  };
  const row = ({ role, open, closed, residualDeg: off }: (typeof channels)[number]) =>
    make(
      'tr',
      {},
      make('th', { scope: 'row' }, roleText(role)),
      make('td', {}, was(role)),
      make('td', {}, `${Math.round(open)} to ${Math.round(closed)}`),
      make('td', {}, `${off <= WELL_DEG ? '✓' : '⚠'} ${off.toFixed(1)}°`),
    );
  // `index.curl: …`, as the command line says it.
  const named = (line: string): string => {
    const of = channels.find(({ role }) => line.startsWith(`${role}: `));
    return of ? roleText(of.role) + line.slice(of.role.length) : line;
  };
  const use = button('Use this fit', () => accept(), { class: 'main big' });
  return make(
    'article',
    { class: 'card findings' },
    make('h3', {}, accepted ? `✓ In use${person ? ` for ${person}` : ''}` : 'The fit is ready'),
    make(
      'p',
      { class: 'lead' },
      `Poses repeat to within ${residualDeg.toFixed(1)}° on average${pinchGapMm === undefined ? '' : `; in the pinch, thumb and index tip are ${Math.abs(pinchGapMm).toFixed(0)} mm ${pinchGapMm < 0 ? 'into each other' : 'apart'}`}.`,
    ),
    ...(median === undefined
      ? []
      : [
          make(
            'p',
            { class: 'fit-change' },
            `The ranges before read an open or a closed hand ${Math.round(median * 100)} % of the way off (median of ${changes.length} channels); this fit reads them right.`,
          ),
        ]),
    ...warnings.map((line) => make('p', { class: 'remedy' }, named(line))),
    ...(accepted ? [] : [use]),
    make(
      'table',
      { class: 'forces' },
      make(
        'thead',
        {},
        make(
          'tr',
          {},
          ...['Channel', 'Counts before', 'Counts, open to closed', 'Repeats to'].map((head) =>
            make('th', { scope: 'col' }, head),
          ),
        ),
      ),
      make('tbody', {}, ...channels.map(row)),
    ),
  );
}
