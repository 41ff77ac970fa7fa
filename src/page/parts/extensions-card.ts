import { button, make, setAttribute, setText } from '../dom.js';
import { ask } from '../routes.js';

/** What GET /pairings answers. */
interface Answer {
  kept: boolean;
  trouble?: string;
  asking: { origin: string }[];
  paired: { origin: string; since: string }[];
}

/** Browser extensions: who asks to see the hands, who may, and how that ends. */
export function createExtensionsCard(): { element: HTMLElement; update(): Promise<void> } {
  const lead = make('p', { class: 'lead' });
  const said = make('p', { class: 'said', role: 'status' });
  const code = make('input', {
    id: 'pairing-code',
    type: 'text',
    inputmode: 'numeric',
    autocomplete: 'off',
    maxlength: 7,
    required: true,
    'aria-describedby': 'pairing-why',
  });
  const asking = make('ul', { class: 'plain', 'aria-label': 'Extensions that ask' });
  const form = make(
    'form',
    { class: 'card pairing', hidden: true },
    make('h3', {}, 'An extension asks to see your hands'),
    make(
      'p',
      { id: 'pairing-why' },
      'It would see your hands in the pages that you switch on in it, and put no force on them. Type the code only if you have just opened the extension yourself, and see the code in its window.',
    ),
    asking,
    make('label', { for: 'pairing-code' }, 'Code of six digits'),
    make('div', { class: 'actions' }, code, make('button', { type: 'submit', class: 'main' }, 'Pair')),
  );
  const paired = make('ul', { class: 'apps', 'aria-label': 'Paired extensions' });
  const element = make(
    'section',
    { class: 'extensions', 'aria-labelledby': 'extensions-title' },
    make('h2', { id: 'extensions-title' }, 'Browser extensions'),
    lead,
    form,
    said,
    paired,
  );

  /** Does it, says what came of it, and shows what is so now. */
  const act = async (method: 'POST' | 'DELETE', path: string, body: unknown, done: string): Promise<void> => {
    try {
      await ask(method, path, body);
      setText(said, done);
      code.value = '';
    } catch (error) {
      setText(said, (error as Error).message);
    }
    await update();
  };
  const withdraw = (origin: string, done: string) =>
    void act('DELETE', `/pairings?origin=${encodeURIComponent(origin)}`, undefined, done);

  form.addEventListener('submit', (event) => {
    event.preventDefault();
    void act('POST', '/pairings/confirm', { code: code.value }, 'Paired.');
  });

  async function update(): Promise<void> {
    let answer: Answer;
    try {
      answer = await ask<Answer>('GET', '/pairings');
    } catch (error) {
      setText(lead, (error as Error).message);
      return;
    }
    setText(lead, leadOf(answer));
    setAttribute(lead, 'data-well', String(answer.trouble === undefined));
    form.hidden = answer.asking.length === 0;
    replace(
      asking,
      answer.asking.map(({ origin }) =>
        make(
          'li',
          {},
          make('span', { class: 'id' }, idOf(origin)),
          button('Refuse', () => withdraw(origin, 'Refused.')),
        ),
      ),
    );
    replace(
      paired,
      answer.paired.map(({ origin, since }) =>
        make(
          'li',
          { class: 'card app' },
          make('h3', { class: 'id' }, idOf(origin)),
          make('p', {}, `Paired on ${new Date(since).toLocaleDateString()}.`),
          button('Withdraw', () => withdraw(origin, 'Withdrawn. It sees nothing any more.'), {
            'aria-label': `Withdraw the pairing of ${idOf(origin)}`,
          }),
        ),
      ),
    );
  }
  return { element, update };
}

function leadOf({ kept, trouble, paired }: Answer): string {
  if (trouble !== undefined) return trouble;
  if (!kept) return 'This service keeps no pairings.';
  const count = ['No extension is', 'One extension is'][paired.length] ?? `${paired.length} extensions are`;
  return `${count} paired. An extension gives web pages for headsets your hands, on the sites that you switch on.`;
}

const idOf = (origin: string): string => origin.replace(/^.*:\/\//, '');

/** Only what has changed, so that a reader's place stays. */
function replace(parent: HTMLElement, children: HTMLElement[]): void {
  const same =
    children.length === parent.children.length &&
    children.every((one, i) => one.isEqualNode(parent.children[i]));
  if (!same) parent.replaceChildren(...children);
}
