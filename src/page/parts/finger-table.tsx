import { batch, computed, type ReadonlySignal, type Signal, signal } from '@preact/signals';
import { FINGERS, type Finger } from '../../hand/joints.js';
import { LIMIT_TEXT, type LimitName } from '../../resistance/limits.js';
import { CONDITION_TEXT, curlOf, type FingerCondition, fingerConditions, stopOf } from '../finger-state.js';
import { type Live, type LiveHand, neverUsed } from '../live.js';
import { createSteadyPercent } from '../steady.js';
import { Heads } from './heads.js';

/** A shape for each condition, so that colour is never the only sign. */
const SIGN: Record<FingerCondition, preact.JSX.Element> = {
  tracked: <circle cx="12" cy="12" r="8" fill="currentColor" />,
  inferred: (
    <circle
      cx="12"
      cy="12"
      r="7"
      fill="none"
      stroke="currentColor"
      stroke-width="3"
      stroke-dasharray="5 3.8"
    />
  ),
  held: <path d="M4 4h16v16H4z" fill="currentColor" />,
  invalid: <path d="M5 5l14 14M19 5L5 19" stroke="currentColor" stroke-width="3.5" />,
};
/** Part of a limit from which a number says that it is near. */
const NEAR = 0.8;
/** Where the profile names no cap. */
const USUAL_MOST_N = 8;

const percent = (part: number): string => `${Math.round(part * 100)} %`;

/** What is said of a finger. */
interface FingerRow {
  finger: Finger;
  name: string;
  condition: Signal<FingerCondition | undefined>;
  /** Whole percent; undefined where it is not known. */
  curl: Signal<number | undefined>;
  stop: Signal<number | undefined>;
  /** N; undefined of a string that nothing pulls at. */
  tensionN: Signal<number | undefined>;
  heat: Signal<number | undefined>;
  isUnused: Signal<boolean>;
  /** Who holds it; empty: nobody. */
  by: Signal<string>;
}

/** Each finger: how it is known, its curl and where its stop is set, whether it is held now and how hard. */
export interface Fingers {
  readonly rows: readonly FingerRow[];
  readonly mostN: ReadonlySignal<number>;
  /** Why less is given than was asked, a line each. */
  readonly why: ReadonlySignal<string>;
  update(hand: LiveHand): void;
}

export function createFingers(live: Pick<Live, 'nameOf'>): Fingers {
  const rows = FINGERS.map((finger): FingerRow & { steady: ReturnType<typeof createSteadyPercent> } => ({
    finger,
    name: finger.charAt(0).toUpperCase() + finger.slice(1),
    condition: signal(undefined),
    curl: signal(undefined),
    stop: signal(undefined),
    tensionN: signal(undefined),
    heat: signal(undefined),
    isUnused: signal(false),
    by: signal(''),
    steady: createSteadyPercent(),
  }));
  const mostN = signal(USUAL_MOST_N);
  const why = signal('');
  return {
    rows,
    mostN,
    why,
    update(hand) {
      const { resistance, info } = hand;
      const conditions = fingerConditions(hand);
      const never = neverUsed(hand);
      const limited = new Map<string, string[]>();
      batch(() => {
        mostN.value = info.maxTensionN ?? USUAL_MOST_N;
        rows.forEach((row, f) => {
          const report = resistance?.fingers[row.finger];
          const held = conditions[f] === 'held';
          const isUnused = never.some(({ role }) => role === row.finger);
          const [curl, stop] = [curlOf(hand, f), stopOf(hand, f)];
          row.condition.value = conditions[f];
          row.isUnused.value = isUnused;
          row.curl.value = curl === undefined ? undefined : row.steady(curl);
          row.stop.value = stop;
          // A string that nothing pulls at has no tension, whatever its servo would give.
          row.tensionN.value = held ? (report?.tensionN ?? 0) : undefined;
          row.heat.value = report?.heat;
          const by = stop === undefined ? undefined : report?.by;
          row.by.value = by === undefined ? '' : `${held ? 'Held' : 'Stop set'} by ${live.nameOf(by)}`;
          if (!resistance?.armed || isUnused) return;
          for (const limit of report?.limits ?? []) {
            const line = LIMIT_TEXT[limit as LimitName] ?? limit;
            limited.set(line, [...(limited.get(line) ?? []), row.name]);
          }
        });
        why.value = [...limited].map(([line, names]) => `${names.join(', ')}: ${line}`).join('\n');
      });
    },
  };
}

export const FingerTable = ({ fingers: { rows, mostN, why } }: { fingers: Fingers }) => (
  <div class="fingers">
    <table class="forces">
      <caption>Fingers and forces</caption>
      <Heads
        of={['Finger', 'State', 'Curl', 'Stop set', computed(() => `Tension of ${mostN.value} N`), 'Heat']}
      />
      <tbody>
        {rows.map((row) => (
          <Row key={row.finger} row={row} mostN={mostN} />
        ))}
      </tbody>
    </table>
    <Why why={why} />
  </div>
);

/** Rendered once: what changes is written where it stands. Nothing is said of a finger before anything is known. */
function Row({ row, mostN }: { row: FingerRow; mostN: ReadonlySignal<number> }) {
  const { finger, name, condition, curl, stop, tensionN, heat, isUnused, by } = row;
  const said = (text: () => string) => computed(() => (condition.value === undefined ? '' : text()));
  const held = computed(() =>
    condition.value === undefined ? undefined : String(condition.value === 'held'),
  );
  return (
    <tr class="chip" data-finger={finger} data-held={held} data-condition={condition} title={by}>
      <th scope="row">{name}</th>
      <td>
        <span class="state">
          <Sign condition={condition} />
          <span class="condition">{said(() => CONDITION_TEXT[condition.value as FingerCondition])}</span>
        </span>
        <span class="unused" hidden={computed(() => !isUnused.value)}>
          ⚠ Stays free
        </span>
      </td>
      <td>
        <span class="curl-cell">
          <span class="gauge" aria-hidden="true">
            <i class="fill" style={computed(() => `transform: scaleX(${(curl.value ?? 0) / 100})`)} />
            <i
              class="tick"
              hidden={computed(() => stop.value === undefined)}
              style={computed(() => `left: ${((stop.value ?? 0) * 100).toFixed(1)}%`)}
            />
          </span>
          <span class="curl">{said(() => (curl.value === undefined ? '–' : `${curl.value} %`))}</span>
        </span>
      </td>
      <td class="stop">
        {said(() => {
          if (stop.value !== undefined) return percent(stop.value);
          return isUnused.value ? '⚠ free' : 'free';
        })}
      </td>
      <td class="tension" data-near={computed(() => near((tensionN.value ?? 0) / mostN.value))}>
        {said(() => (tensionN.value === undefined ? '–' : `${tensionN.value.toFixed(1)} N`))}
      </td>
      <td class="heat" data-near={computed(() => near(heat.value ?? 0))}>
        {said(() => (heat.value === undefined ? '–' : percent(heat.value)))}
      </td>
    </tr>
  );
}

/** The shape of a condition. */
export const Sign = ({ condition }: { condition: ReadonlySignal<FingerCondition | undefined> }) => (
  <span class="sign">
    {condition.value && (
      <svg viewBox="0 0 24 24" aria-hidden="true">
        {SIGN[condition.value]}
      </svg>
    )}
  </span>
);

const Why = ({ why }: { why: ReadonlySignal<string> }) => (
  <ul class="why" aria-label="Why less is given than was asked">
    {why.value !== '' && why.value.split('\n').map((line) => <li key={line}>{line}</li>)}
  </ul>
);

const near = (part: number): string | undefined => (part >= NEAR ? 'true' : undefined);
