import { describe, expect, it } from 'vitest';
import { faultText } from '../../src/protocol/glove-faults.js';
import { FAULT_BIT } from '../../src/protocol/link-table.js';

describe('what a glove reports of itself', () => {
  it('has words, each its own', () => {
    const texts = Object.keys(FAULT_BIT).map(faultText);
    for (const text of texts) expect(text).toMatch(/^[a-z]+ .*[a-z]$/);
    expect(new Set(texts).size).toBe(texts.length);
  });
  it('blames neither the service nor the board alone for fingers that the glove freed by itself', () => {
    expect(faultText('watchdogRelease')).toMatch(/heard nothing from the service, or its own program hung/);
  });
  it.each(['somethingNew', 'toString'])('that has no words stays as it is: %s', (fault) => {
    expect(faultText(fault)).toBe(fault);
  });
});
