import { expect, it } from 'vitest';
import type { CheckReport } from '../../../src/guide/report.js';
import { checkHeading } from '../../../src/page/parts/guide-findings.js';

const report = (verdicts: string[], linkOk: boolean): CheckReport =>
  ({
    ok: linkOk && verdicts.every((verdict) => verdict === 'healthy'),
    channels: verdicts.map((verdict) => ({ role: 'index.curl', verdict })),
    buttons: [{ name: 'a', verdict: 'notPressed' }],
    link: { ok: linkOk },
  }) as unknown as CheckReport;

it('says no more than a check has tried, and tells the link from the sensors', () => {
  expect(checkHeading(report(['healthy', 'healthy'], true))).toBe('✓ Sensors and link are well');
  expect(checkHeading(report(['healthy'], false))).toBe('⚠ Sensors are well; the link needs a look');
  expect(checkHeading(report(['healthy', 'dead'], true))).toBe('⚠ 1 thing needs a look');
  expect(checkHeading(report(['noisy', 'dead'], false))).toBe('⚠ 2 things need a look, and so does the link');
});
