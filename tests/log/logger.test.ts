import { expect, it } from 'vitest';
import { asText } from '../../src/log/logger.js';

it('a log line for people has time, level, text and what else was logged', () => {
  const line = '{"level":40,"time":"2025-03-01T12:30:05.123Z","hand":"right","count":3,"msg":"link lost"}\n';
  expect(asText(line)).toBe('12:30:05 warn: link lost hand=right count=3\n');
});
