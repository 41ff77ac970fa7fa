import { button, make, setText } from '../dom.js';
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

/** One recorded session and what can be done with it. */
export interface SessionRow {
  readonly element: HTMLElement;
  update(file: SessionFile, recording: boolean, replaying: boolean): void;
  focus(): void;
}

/** @param replayed it is shown in place of the glove now */
export function createSessionRow(
  name: string,
  act: (doing: Promise<unknown>) => Promise<void>,
  replayed: () => void,
): SessionRow {
  const path = `/sessions/${encodeURIComponent(name)}`;
  const plain = name.replace(/\.mcap$/, '');
  const facts = make('p', { class: 'lead' });
  const details = make('div', { class: 'session-info', hidden: true });
  const replay = button(
    'Replay',
    () => void act(ask('POST', `/replay?name=${encodeURIComponent(name)}&loop=1`)).then(replayed),
    { 'aria-label': `Replay ${plain}` },
  );
  let sure: ReturnType<typeof setTimeout> | undefined;
  const remove = button('Delete', () => {
    if (sure === undefined) {
      setText(remove, 'Really delete?');
      sure = setTimeout(calm, SURE_MS);
      return;
    }
    calm();
    void act(ask('DELETE', path));
  });
  const calm = () => {
    clearTimeout(sure);
    sure = undefined;
    setText(remove, 'Delete');
  };
  let reading = false;
  const about = button('What is in it', () => {
    if (reading) return;
    if (!details.hidden) details.hidden = true;
    else void act(describe());
  });
  async function describe(): Promise<void> {
    setText(about, 'Reading…');
    // Not disabled: it would lose the focus.
    reading = true;
    try {
      details.replaceChildren(...infoLines(await ask<SessionInfo>('GET', `${path}/info`)));
      details.hidden = false;
    } finally {
      setText(about, 'What is in it');
      reading = false;
    }
  }
  const download = make('a', { class: 'button', href: linkTo(path), download: name }, 'Download');
  const exports = make(
    'span',
    { class: 'exports' },
    ...EXPORTS.map(([to, label]) =>
      make(
        'a',
        {
          class: 'button',
          href: linkTo(`${path}/export?to=${to}`),
          download: `${plain}.${to}`,
          'aria-label': `Export as ${label}`,
        },
        label,
      ),
    ),
  );
  const element = make(
    'li',
    { class: 'card session', 'data-session': name },
    make('h3', {}, plain),
    facts,
    make('div', { class: 'actions' }, replay, download, exports, about, remove),
    details,
  );
  return {
    element,
    focus: () => replay.focus(),
    update({ bytes, modifiedAt }, recording, replaying) {
      const when = new Date(modifiedAt).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });
      const now = recording ? ', being recorded' : replaying ? ', shown now' : '';
      setText(facts, `${when}, ${bytesText(bytes)}${now}`);
      replay.disabled = recording || replaying;
      remove.disabled = recording || replaying;
    },
  };
}

function infoLines({ durationS, complete, wearer, hands, marks }: SessionInfo): HTMLElement[] {
  const lines = [
    `${clockText(durationS)} long${wearer ? `, worn by ${wearer}` : ''}${complete ? '' : ', cut off at the end'}.`,
  ];
  for (const { hand, samples, measuredHz, lost, gapCount } of hands) {
    lines.push(
      `${sideText(hand)}: ${samples} samples, ${Math.round(measuredHz)} a second, ${lost} lost, ${gapCount} ${gapCount === 1 ? 'gap' : 'gaps'}.`,
    );
  }
  const list = make('ul', {}, ...marks.map(({ atS, text }) => make('li', {}, `${clockText(atS)} ${text}`)));
  return [...lines.map((line) => make('p', {}, line)), ...(marks.length > 0 ? [list] : [])];
}
