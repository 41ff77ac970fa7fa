import { TautlineError } from '../errors.js';

/** What keeps us from a broker, in a line: what, where, what to do. */
export function brokerError(url: string, error: unknown): TautlineError {
  if (error instanceof TautlineError) return error;
  const { code, message = String(error) } = (error ?? {}) as { code?: string | number; message?: string };
  const host = URL.canParse(url) ? new URL(url).host : url;
  const known = (code !== undefined && KNOWN[code]) || undefined;
  const [what, remedy] = known ?? [`the connection failed (${firstLine(message)})`, undefined];
  return new TautlineError('serviceUnreachable', `${host}: ${what}.`, remedy, { cause: error });
}

const CERTIFICATE = 'the certificate of the broker is not of an authority that is known here';
const NAME_THE_AUTHORITY = "Name the file of the authority's certificate (caFile, --ca).";
const NO_BROKER = 'no broker answers';
const IS_IT_STARTED = 'Is it started, and is the port right?';
const PLAIN = 'what answers there does not speak TLS';
const NOT_IN_TIME = 'no answer in time';

/** Code of a connection that was open. */
export const BROKEN_OFF = 'BROKEN_OFF';

/** By the code of a socket (errno), of TLS (OpenSSL), or of the broker (MQTT 5, section 2.4). */
const KNOWN: Record<string | number, [what: string, remedy?: string]> = {
  ECONNREFUSED: [NO_BROKER, IS_IT_STARTED],
  ECONNRESET: [
    'the broker broke the connection off',
    'Does this port ask for TLS (mqtts://), or for a certificate?',
  ],
  [BROKEN_OFF]: [
    'the broker ended the connection',
    'If that goes on, another client has the same name: give each station, and each collector, one of its own.',
  ],
  EPIPE: ['the broker broke the connection off'],
  ENOTFOUND: ['no machine has this name', 'Check the name of the broker.'],
  EAI_AGAIN: ['the name cannot be looked up now'],
  EHOSTUNREACH: [NO_BROKER, 'Is the network there?'],
  ENETUNREACH: [NO_BROKER, 'Is the network there?'],
  ETIMEDOUT: [NOT_IN_TIME, IS_IT_STARTED],
  EPROTO: [PLAIN, 'Write mqtt:// for a port without it.'],
  ERR_SSL_WRONG_VERSION_NUMBER: [PLAIN, 'Write mqtt:// for a port without it.'],
  ERR_SSL_TLSV13_ALERT_CERTIFICATE_REQUIRED: [
    'the broker asks for a certificate',
    'Give certFile and keyFile.',
  ],
  UNABLE_TO_VERIFY_LEAF_SIGNATURE: [CERTIFICATE, NAME_THE_AUTHORITY],
  UNABLE_TO_GET_ISSUER_CERT_LOCALLY: [CERTIFICATE, NAME_THE_AUTHORITY],
  SELF_SIGNED_CERT_IN_CHAIN: [CERTIFICATE, NAME_THE_AUTHORITY],
  DEPTH_ZERO_SELF_SIGNED_CERT: [CERTIFICATE, NAME_THE_AUTHORITY],
  CERT_HAS_EXPIRED: [
    'the certificate of the broker has expired',
    'Renew it, or set the clock of this machine.',
  ],
  CERT_NOT_YET_VALID: ['the certificate of the broker is not valid yet', 'Set the clock of this machine.'],
  ERR_TLS_CERT_ALTNAME_INVALID: [
    'the certificate of the broker is for another name',
    'Write the address as the certificate has it.',
  ],
  // MQTT 5 reason codes.
  128: ['the broker refused, without saying why'],
  132: ['the broker does not speak MQTT 5', 'Use one that does.'],
  133: ['the broker does not permit this client id'],
  134: ['the user name or the password is wrong', 'Check username and passwordFile.'],
  135: ['the broker does not permit this', 'Check user name, password and its access list.'],
  136: ['the broker is not available'],
  137: ['the broker is busy'],
  142: [
    'another client came with the same name',
    'Give each station, and each collector, a name of its own.',
  ],
  149: ['the packet is larger than permitted'],
  151: ['the quota of the broker is exceeded'],
};

const firstLine = (text: string): string => text.replace(/\s+/g, ' ').trim().slice(0, 200).replace(/\.$/, '');
