import { InvalidArgumentError, Option } from 'commander';
import { isTopicName } from '../../config/topic-name.js';

/** Options of every command that talks to a broker. */
export interface BrokerCommandOptions {
  broker: string;
  site?: string;
  username?: string;
  passwordFile?: string;
  ca?: string;
  cert?: string;
  key?: string;
}

export const brokerOptions = (): Option[] => [
  new Option('--broker <url>', 'the MQTT 5 broker: mqtts://HOST:PORT, or mqtt:// without TLS')
    .env('TAUTLINE_BROKER')
    .argParser(brokerUrl)
    .makeOptionMandatory(),
  new Option('--site <name>', 'one site alone; every site when left out').argParser(topicName),
  new Option('--username <name>', 'name for the broker').env('TAUTLINE_BROKER_USERNAME'),
  new Option('--password-file <file>', 'file with the password, readable by you alone').env(
    'TAUTLINE_BROKER_PASSWORD_FILE',
  ),
  new Option('--ca <file>', "certificate of who signed the broker's (PEM)").env('TAUTLINE_BROKER_CA'),
  new Option('--cert <file>', 'certificate of yours (PEM), where the broker asks for one'),
  new Option('--key <file>', 'key of that certificate (PEM)'),
];

/** As src/fleet takes it. */
export function brokerAddress(options: BrokerCommandOptions) {
  const { broker: url, username, passwordFile, ca: caFile, cert: certFile, key: keyFile } = options;
  const given = Object.entries({ username, passwordFile, caFile, certFile, keyFile });
  return { url, ...Object.fromEntries(given.filter(([, value]) => value !== undefined)) };
}

export function topicName(text: string): string {
  if (isTopicName(text)) return text;
  throw new InvalidArgumentError('Give a name of letters, digits, dots, dashes and underscores.');
}

function brokerUrl(text: string): string {
  if (/^mqtts?:\/\/[^/?#@\s]+\/?$/.test(text) && URL.canParse(text)) return text;
  throw new InvalidArgumentError('Write such as mqtts://broker.lab:8883.');
}
