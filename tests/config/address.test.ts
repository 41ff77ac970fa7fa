import { describe, expect, it } from 'vitest';
import { isLoopback, parseAddress, urlHost } from '../../src/config/address.js';

describe('isLoopback', () => {
  // 127.0.0.0/8: RFC 1122, 3.2.1.3 (g). ::1: RFC 4291, 2.5.3. localhost: RFC 6761, 6.3. Checked from memory.
  it.each(['127.0.0.1', '127.1.2.3', '::1', '0:0:0:0:0:0:0:1', '::ffff:127.0.0.1', 'localhost', 'LocalHost'])(
    '%s is',
    (host) => {
      expect(isLoopback(host)).toBe(true);
    },
  );
  it.each(['0.0.0.0', '::', '192.168.1.20', '128.0.0.1', 'localhost.example', '127.0.0.1.example', ''])(
    '%s is not',
    (host) => {
      expect(isLoopback(host)).toBe(false);
    },
  );
});

describe('parseAddress', () => {
  it.each([
    ['127.0.0.1:7117', { host: '127.0.0.1', port: 7117 }],
    ['localhost', { host: 'localhost', port: undefined }],
    [':0', { host: undefined, port: 0 }],
    ['8000', { host: undefined, port: 8000 }],
    ['[::1]:80', { host: '::1', port: 80 }],
    ['', undefined],
    ['::1', undefined],
    ['[x]:80', undefined],
    ['host:65536', undefined],
    ['host:port', undefined],
    ['ws://host:1', undefined],
  ])('%s', (text, address) => {
    expect(parseAddress(text)).toEqual(address);
  });
});

it('an IPv6 host stands in brackets in a URL', () => {
  expect(urlHost('::1')).toBe('[::1]');
  expect(urlHost('127.0.0.1')).toBe('127.0.0.1');
});
