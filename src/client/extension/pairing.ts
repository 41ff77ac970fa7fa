import { askToPair, keepSecret, pageOf, pairingState, readPort } from './service.js';

/** Shows the code that the wearer types on the page of the service, until that is done. */

const LOOK_MS = 1000;

const get = (id: string): HTMLElement => document.getElementById(id) as HTMLElement;
const state = get('state');
const code = get('code');
const how = get('how');
const again = get('again');

function show(line: string, digits?: string): void {
  state.textContent = line;
  code.textContent = digits === undefined ? '' : `${digits.slice(0, 3)} ${digits.slice(3)}`;
  code.hidden = how.hidden = digits === undefined;
}

async function begin(): Promise<void> {
  again.hidden = true;
  const question = await askToPair();
  if (typeof question === 'string') {
    show(question);
    again.hidden = false;
    return;
  }
  show('The service waits for this code:', question.code);
  for (;;) {
    await new Promise((resolve) => setTimeout(resolve, LOOK_MS));
    const now = await pairingState(question.secret);
    if (now === 'asking') continue;
    if (now === 'paired') {
      await keepSecret(question.secret);
      show('Paired. You can close this window.');
      return;
    }
    show(
      now === 'away'
        ? 'The service went away.'
        : 'The code was refused, or nobody typed it within two minutes.',
    );
    again.hidden = false;
    return;
  }
}

again.addEventListener('click', () => void begin());
get('own').textContent = new URL(chrome.runtime.getURL('')).host;
get('open').setAttribute('href', pageOf(await readPort()));
await begin();
