import { expect, it } from 'vitest';
import { bringBackTokens, HIDDEN_TOKEN, hideTokens } from '../../src/config/hidden-tokens.js';
import { parseProfile } from '../../src/config/load.js';

const GLOVE = [
  'gloves:',
  '  - hand: right',
  '    name: Test',
  '    link: { kind: simulated }',
  '    channels: [{ role: index.curl, open: 1, closed: 2 }]',
  '    actuators: []',
].join('\n');
const PROFILE = `profile: 1
# A comment that stays.
stream:
  token: "the-service's-token-0123"   # quoted
  permissions:
    apps:
      - { name: Alpha, token: token-of-alpha-01234, may: [resist] }
      - name: Beta
        may: [record]
        token: 'token-of-beta-012345'
${GLOVE}
`;
const SECRETS = ["the-service's-token-0123", 'token-of-alpha-01234', 'token-of-beta-012345'];

it('shows a profile without its tokens, which is one all the same, and brings them back to the letter', () => {
  const shown = hideTokens(PROFILE) ?? '';
  for (const secret of SECRETS) expect(shown).not.toContain(secret);
  expect(shown).toContain('# A comment that stays.');
  expect(bringBackTokens(shown, PROFILE)).toBe(PROFILE);
  expect(() => parseProfile(PROFILE, 'test')).not.toThrow();
});

it('brings a token back to its app, wherever that stands by now, and keeps one that was written anew', () => {
  const shown = (hideTokens(PROFILE) ?? '').replace('Alpha', 'Gamma').replace('Beta', 'Alpha');
  // Nobody is called Gamma in the file: its token is not known.
  expect(bringBackTokens(shown, PROFILE)).toBeUndefined();
  const given = shown.replace(
    `name: Gamma, token: ${HIDDEN_TOKEN}`,
    'name: Gamma, token: a-new-token-0123456',
  );
  const whole = bringBackTokens(given, PROFILE) ?? '';
  const { permissions, token } = parseProfile(whole, 'test').stream;
  expect(token).toBe(SECRETS[0]);
  expect(permissions.apps.map((app) => [app.name, app.token])).toEqual([
    ['Gamma', 'a-new-token-0123456'],
    ['Alpha', SECRETS[1]],
  ]);
});

it('does not show a profile whose token stands elsewhere too', () => {
  expect(hideTokens(`# was: ${SECRETS[1]}\n${PROFILE}`)).toBeUndefined();
});

it('leaves what is no profile as it is', () => {
  for (const text of ['', 'a: [', '{'.repeat(1000), 'stream: 3', 'stream: { token: }']) {
    expect(hideTokens(text)).toBe(text);
    expect(bringBackTokens(text, PROFILE)).toBe(text);
  }
});
