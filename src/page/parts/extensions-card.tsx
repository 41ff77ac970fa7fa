import { signal } from '@preact/signals';
import { ask } from '../routes.js';

/** What GET /pairings answers. */
interface Answer {
  kept: boolean;
  trouble?: string;
  asking: { origin: string }[];
  paired: { origin: string; since: string }[];
}

/** Browser extensions: who asks to see the hands, who may, and how that ends. */
export function createExtensionsCard() {
  const answer = signal<Answer | undefined>(undefined);
  const refusal = signal<string | undefined>(undefined);
  /** What came of the last thing that was done. */
  const said = signal('');
  const code = signal('');

  const update = () => {
    ask<Answer>('GET', '/pairings').then(
      (now) => {
        refusal.value = undefined;
        answer.value = now;
      },
      ({ message }: Error) => {
        refusal.value = message;
      },
    );
  };
  /** Does it, says what came of it, and shows what is so now. */
  const act = async (method: 'POST' | 'DELETE', path: string, body: unknown, done: string): Promise<void> => {
    try {
      await ask(method, path, body);
      said.value = done;
      code.value = '';
    } catch (error) {
      said.value = (error as Error).message;
    }
    update();
  };
  const withdraw = (origin: string, done: string) =>
    void act('DELETE', `/pairings?origin=${encodeURIComponent(origin)}`, undefined, done);

  const Asking = ({ asking }: Pick<Answer, 'asking'>) => (
    <form
      class="card pairing"
      hidden={asking.length === 0}
      onSubmit={(event) => {
        event.preventDefault();
        void act('POST', '/pairings/confirm', { code: code.value }, 'Paired.');
      }}
    >
      <h3>An extension asks to see your hands</h3>
      <p id="pairing-why">
        It would see your hands in the pages that you switch on in it, and put no force on them. Type the code
        only if you have just opened the extension yourself, and see the code in its window.
      </p>
      <ul class="plain" aria-label="Extensions that ask">
        {asking.map(({ origin }) => (
          <li key={origin}>
            <span class="id">{idOf(origin)}</span>
            <button type="button" onClick={() => withdraw(origin, 'Refused.')}>
              Refuse
            </button>
          </li>
        ))}
      </ul>
      <label for="pairing-code">Code of six digits</label>
      <div class="actions">
        <input
          id="pairing-code"
          type="text"
          inputMode="numeric"
          autocomplete="off"
          maxLength={7}
          required
          aria-describedby="pairing-why"
          value={code.value}
          onInput={({ currentTarget }) => {
            code.value = currentTarget.value;
          }}
        />
        <button type="submit" class="main">
          Pair
        </button>
      </div>
    </form>
  );
  const Card = () => (
    <section class="extensions" aria-labelledby="extensions-title">
      <h2 id="extensions-title">Browser extensions</h2>
      <p class="lead" data-well={answer.value && String(answer.value.trouble === undefined)}>
        {refusal.value ?? (answer.value && leadOf(answer.value))}
      </p>
      <Asking asking={answer.value?.asking ?? []} />
      <p class="said" role="status">
        {said.value}
      </p>
      <ul class="apps" aria-label="Paired extensions">
        {answer.value?.paired.map(({ origin, since }) => (
          <li key={origin} class="card app">
            <h3 class="id">{idOf(origin)}</h3>
            <p>{`Paired on ${new Date(since).toLocaleDateString()}.`}</p>
            <button
              type="button"
              aria-label={`Withdraw the pairing of ${idOf(origin)}`}
              onClick={() => withdraw(origin, 'Withdrawn. It sees nothing any more.')}
            >
              Withdraw
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
  return { Card, update };
}

function leadOf({ kept, trouble, paired }: Answer): string {
  if (trouble !== undefined) return trouble;
  if (!kept) return 'This service keeps no pairings.';
  const count = ['No extension is', 'One extension is'][paired.length] ?? `${paired.length} extensions are`;
  return `${count} paired. An extension gives web pages for headsets your hands, on the sites that you switch on.`;
}

const idOf = (origin: string): string => origin.replace(/^.*:\/\//, '');
