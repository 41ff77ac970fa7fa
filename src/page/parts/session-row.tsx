import { type Signal, useSignal } from '@preact/signals';
import type { RefCallback } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { ask, linkTo } from '../routes.js';
import { bytesText, clockText, sideText } from './words.js';

export interface SessionFile {
  name: string;
  bytes: number;
  modifiedAt: string;
}

interface SessionInfo {
  durationS: number;
  complete: boolean;
  wearer?: string;
  hands: {
    hand: string;
    name: string;
    samples: number;
    measuredHz: number;
    lost: number;
    gapCount: number;
  }[];
  marks: { atS: number; text: string }[];
}

const EXPORTS = [
  ['csv', 'CSV'],
  ['ndjson', 'NDJSON'],
  ['glb', 'glTF'],
] as const;
/** A second press deletes within this time. */
const SURE_MS = 4000;

/** Does something, says what the service has against it, and reads the list of sessions again. */
export type Act = (doing: Promise<unknown>) => Promise<void>;

interface SessionRowProps {
  file: SessionFile;
  now: 'recorded' | 'shown' | undefined;
  act: Act;
  /** It is shown in place of the glove now. */
  replayed(): void;
  replay: RefCallback<HTMLButtonElement>;
}

/** One recorded session and what can be done with it. */
export function SessionRow({ file, now, act, replayed, replay }: SessionRowProps) {
  const { name } = file;
  const path = `/sessions/${encodeURIComponent(name)}`;
  const plain = name.replace(/\.mcap$/, '');
  const info = useSignal<SessionInfo | undefined>(undefined);
  return (
    <li class="card session" data-session={name}>
      <h3>{plain}</h3>
      <p class="lead">{factsText(file, now)}</p>
      <div class="actions">
        <button
          type="button"
          aria-label={`Replay ${plain}`}
          disabled={now !== undefined}
          ref={replay}
          onClick={() =>
            void act(ask('POST', `/replay?name=${encodeURIComponent(name)}&loop=1`)).then(replayed)
          }
        >
          Replay
        </button>
        <a class="button" href={linkTo(path)} download={name}>
          Download
        </a>
        <Exports path={path} plain={plain} />
        <AboutButton path={path} info={info} act={act} />
        <DeleteButton disabled={now !== undefined} remove={() => void act(ask('DELETE', path))} />
      </div>
      <div class="session-info" hidden={info.value === undefined}>
        {info.value && <Info {...info.value} />}
      </div>
    </li>
  );
}

function factsText({ bytes, modifiedAt }: SessionFile, now: SessionRowProps['now']): string {
  const when = new Date(modifiedAt).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });
  return `${when}, ${bytesText(bytes)}${now === undefined ? '' : now === 'recorded' ? ', being recorded' : ', shown now'}`;
}

const Exports = ({ path, plain }: { path: string; plain: string }) => (
  <span class="exports">
    {EXPORTS.map(([to, label]) => (
      <a
        key={to}
        class="button"
        href={linkTo(`${path}/export?to=${to}`)}
        download={`${plain}.${to}`}
        aria-label={`Export as ${label}`}
      >
        {label}
      </a>
    ))}
  </span>
);

interface AboutButtonProps {
  path: string;
  info: Signal<SessionInfo | undefined>;
  act: Act;
}

function AboutButton({ path, info, act }: AboutButtonProps) {
  // Not disabled meanwhile: it would lose the focus.
  const reading = useSignal(false);
  const read = async () => {
    reading.value = true;
    try {
      info.value = await ask<SessionInfo>('GET', `${path}/info`);
    } finally {
      reading.value = false;
    }
  };
  const press = () => {
    if (reading.peek()) return;
    if (info.peek()) info.value = undefined;
    else void act(read());
  };
  return (
    <button type="button" onClick={press}>
      {reading.value ? 'Reading…' : 'What is in it'}
    </button>
  );
}

function DeleteButton({ disabled, remove }: { disabled: boolean; remove(): void }) {
  const sure = useSignal(false);
  const timer = useRef<ReturnType<typeof setTimeout> | undefined>(undefined);
  const calm = () => {
    clearTimeout(timer.current);
    sure.value = false;
  };
  useEffect(() => calm, []);
  const press = () => {
    if (sure.peek()) {
      calm();
      remove();
      return;
    }
    sure.value = true;
    timer.current = setTimeout(calm, SURE_MS);
  };
  return (
    <button type="button" disabled={disabled} onClick={press}>
      {sure.value ? 'Really delete?' : 'Delete'}
    </button>
  );
}

const Info = ({ durationS, complete, wearer, hands, marks }: SessionInfo) => (
  <>
    <p>
      {`${clockText(durationS)} long${wearer ? `, worn by ${wearer}` : ''}${complete ? '' : ', cut off at the end'}.`}
    </p>
    {hands.map(({ hand, name, samples, measuredHz, lost, gapCount }) => (
      <p key={`${hand} ${name}`}>
        {`${sideText(hand)}: ${samples} samples, ${Math.round(measuredHz)} a second, ${lost} lost, ${gapCount} ${gapCount === 1 ? 'gap' : 'gaps'}.`}
      </p>
    ))}
    {marks.length > 0 && (
      <ul>
        {marks.map(({ atS, text }) => (
          <li key={`${atS} ${text}`}>{`${clockText(atS)} ${text}`}</li>
        ))}
      </ul>
    )}
  </>
);
