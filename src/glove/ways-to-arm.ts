import type { GloveProfile } from '../config/schema.js';

/** How the wearer of a glove arms, to complete "To arm: …". */
export function waysToArm({ buttons, controls }: GloveProfile): string {
  const ways = ['hold "Hold to arm" on the page of the service', 'run `tautline arm`'];
  if (buttons.arm !== undefined) ways.push(`hold the glove's arm button for ${controls.armPressS} s`);
  if (controls.armFists !== undefined) {
    ways.push(`make ${controls.armFists} fists in quick succession, then open the hand`);
  }
  return `${ways.slice(0, -1).join(', ')}${ways.length > 2 ? ',' : ''} or ${ways.at(-1)}`;
}
