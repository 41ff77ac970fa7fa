/**
 * Writes docs/faults.md: faults injected into the firmware on this computer, and what check, status and doctor say of each.
 *
 *   make -C src/firmware/host
 *   npx tsx scripts/fault-table.ts
 */
import { writeFileSync } from 'node:fs';
import { faultDocument, faultTable } from '../tests/end-to-end/fault-table.js';

const rows = await faultTable();
writeFileSync('docs/faults.md', faultDocument(rows));
for (const { name, right, said } of rows) {
  for (const which of ['check', 'status', 'doctor'] as const) {
    if (!right[which]) console.log(`${which} is wrong of "${name}": ${said[which] || 'nothing'}`);
  }
}
