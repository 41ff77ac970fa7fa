import { type Command, Option } from 'commander';
import { TautlineError } from '../errors.js';
import { HAND_SIDES, type HandSide } from '../hand/joints.js';
import {
  answerIn,
  refusal,
  requestHeaders,
  type ServiceOptions,
  serviceUrl,
  tokenOption,
  unreachable,
  urlOption,
} from './shared/service-url.js';

/** A service on this machine answers in milliseconds; what takes longer has hung. */
const ANSWER_WITHIN_MS = 3000;

const REMINDER = 'Keep a way to get the hand out. To free every finger: tautline disarm';

interface ArmOptions extends ServiceOptions {
  hand?: HandSide;
}

/** What the service answers to POST /arm and /disarm. */
interface Answer {
  hands?: { hand: HandSide; armed: boolean; connected?: boolean }[];
  /** What the wearer must know. */
  caution?: string;
}

export function addArmCommands(program: Command): void {
  addCommand(
    program,
    'disarm',
    'Free every finger now, and keep them free until armed again.',
    'tautline disarm',
  );
  addCommand(
    program,
    'arm',
    'Permit forces. Do it only when you, the wearer, are ready: the fingers can be stopped.',
    'tautline arm       then, to free the fingers again:  tautline disarm',
  );
}

function addCommand(program: Command, name: 'arm' | 'disarm', description: string, example: string): void {
  program
    .command(name)
    .description(description)
    .addOption(new Option('--hand <side>', 'one hand only').choices(HAND_SIDES))
    .addOption(urlOption())
    .addOption(tokenOption())
    .addHelpText('after', `\nExample:\n  ${example}`)
    .action(async (options: ArmOptions) => {
      const { hands = [], caution } = await post(name, options);
      for (const { hand, armed, connected } of hands) {
        const free = connected === false ? 'not connected, disarmed' : 'disarmed, every finger is free';
        console.log(`${hand} hand: ${armed ? 'armed, fingers can be stopped' : free}`);
      }
      // The service says it in full the first time; nobody reads a page every time, but a line.
      if (caution) console.log(caution);
      else if (name === 'arm') console.log(REMINDER);
      // What was asked for must be so, or a script would go on believing it. A glove that is not there stays disarmed.
      const wanted = name === 'arm';
      const asWanted = ({ armed, connected }: (typeof hands)[number]) =>
        armed === wanted || (wanted && connected === false);
      if (hands.length === 0 || !hands.every(asWanted)) {
        throw new TautlineError(
          'notPermitted',
          `Not every hand could be ${name}ed.`,
          'See `tautline watch`.',
        );
      }
    });
}

async function post(path: 'arm' | 'disarm', { url: text, token, hand }: ArmOptions): Promise<Answer> {
  const url = serviceUrl(text, 'http', `/${path}`);
  if (hand) url.searchParams.set('hand', hand);
  let response: Response;
  let answer: Answer;
  try {
    response = await fetch(url, {
      method: 'POST',
      headers: requestHeaders(url, token),
      signal: AbortSignal.timeout(ANSWER_WITHIN_MS),
    });
    answer = answerIn(await response.text()) ?? {};
  } catch (error) {
    throw unreachable(url, error);
  }
  if (response.ok) return answer;
  throw refusal(url, response.status, answer);
}
