import { button, make } from '../dom.js';

interface Fits {
  person?: string;
  fits: { person: string; savedAt?: string; kind: keyof typeof WHAT; undone?: boolean; inUse: boolean }[];
}

const WHAT = {
  sensors: 'sensors',
  actuators: 'string stops',
  bones: 'bones',
  mount: 'mount of the tracker',
  feel: 'how forces feel',
} as const;

interface FitShelfCard {
  element: HTMLElement;
  update(): Promise<void>;
  /** While a recording is shown, fits are only looked at: the glove that they belong to is hidden. */
  permit(mayChange: boolean): void;
}

/** The fits that the service keeps: who, when, which is in use; undo, and another wearer. */
export function createSavedFits(
  post: (path: string) => Promise<void>,
  read: () => Promise<unknown>,
): FitShelfCard {
  const list = make('ul', { class: 'fits' });
  const empty = make('p', { class: 'lead' }, 'No fit is kept yet; the ranges come from the profile.');
  const people = make('div', { class: 'actions' });
  const undo = button('Undo the last fit', () => void post('/fits/undo').then(update));
  const element = make(
    'div',
    { class: 'card shelf' },
    make('h3', {}, 'Kept fits'),
    empty,
    list,
    people,
    make('div', { class: 'actions' }, undo),
  );

  let permitted = true;

  function permit(mayChange: boolean): void {
    permitted = mayChange;
    for (const one of element.querySelectorAll('button')) one.disabled = !mayChange;
  }

  async function update(): Promise<void> {
    const answer = (await read().catch(() => undefined)) as Fits | undefined;
    const fits = (answer?.fits ?? []).filter(({ undone }) => undone !== true);
    empty.hidden = fits.length > 0;
    undo.hidden = fits.length === 0;
    list.replaceChildren(
      ...fits.map(({ person, savedAt, kind, inUse }) => {
        const when =
          savedAt === undefined
            ? ''
            : new Date(savedAt).toLocaleString([], { dateStyle: 'medium', timeStyle: 'short' });
        return make(
          'li',
          {},
          `${inUse ? '✓ in use: ' : ''}${person}, ${WHAT[kind]}${when ? `, ${when}` : ''}`,
        );
      }),
    );
    const others = [...new Set(fits.map(({ person }) => person))].filter((name) => name !== answer?.person);
    const focused = people.contains(document.activeElement);
    people.replaceChildren(
      ...others.map((name) =>
        button(
          `Switch to ${name}`,
          () => void post(`/fits/use?person=${encodeURIComponent(name)}`).then(update),
        ),
      ),
    );
    permit(permitted);
    // The button that was pressed is gone.
    if (focused) undo.focus();
  }
  return { element, update, permit };
}
