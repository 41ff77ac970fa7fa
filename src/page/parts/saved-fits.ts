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
} as const;

/** The fits that the service keeps: who, when, which is in use; undo, and another wearer. */
export function createSavedFits(
  post: (path: string) => Promise<void>,
  read: () => Promise<unknown>,
): { element: HTMLElement; update(): Promise<void> } {
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
    // The button that was pressed is gone.
    if (focused) undo.focus();
  }
  return { element, update };
}
