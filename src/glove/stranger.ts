import type { GloveProfile } from '../config/schema.js';
import { createStrayBytes } from '../link/stray-bytes.js';

/** What is said of a glove on a live link that has not described itself. */
export interface Stranger {
  /** Bytes that came before it did. */
  see(chunk: Uint8Array): void;
  /** A new connection. */
  connected(nowUs: number): void;
  /** What comes instead, and what to do; undefined while there is still hope, or nothing to go by. */
  reason(nowUs: number): { says: string; remedy: string } | undefined;
}

/** A board that restarts when its port is opened may print its boot messages for so long. Common practice. */
const PATIENCE_US = 2_500_000;

export function createStranger({ codec, link }: Pick<GloveProfile, 'codec' | 'link'>): Stranger {
  const stray = createStrayBytes();
  let connectedUs = Number.POSITIVE_INFINITY;
  const baud = link.kind === 'serial' ? ` (the profile says ${link.baud})` : '';
  const wrongBaud = `Most likely the baud rate is wrong${baud}, or something else is at this port.`;
  return {
    see: stray.see,
    connected(nowUs) {
      connectedUs = nowUs;
      stray.reset();
    },
    reason(nowUs) {
      if (nowUs - connectedUs < PATIENCE_US) return undefined;
      const look = stray.look();
      if (!look) return undefined;
      const sample = look.kind === 'text' && look.line !== undefined ? `, such as \`${look.line}\`` : '';
      if (look.kind === 'unreadable') {
        const wanted = codec.kind === 'frames' ? 'frames' : 'lines of text';
        return { says: `Bytes come, but no ${wanted}: they cannot be read.`, remedy: wrongBaud };
      }
      if (codec.kind === 'frames') {
        if (look.kind === 'frames') {
          return {
            says: 'Samples come, but the glove does not say what they are when asked.',
            remedy:
              'It does not hear: check the wire from the computer to the board (its RX), and the baud rate.',
          };
        }
        return {
          says: `Bytes come, but no frames: this glove sends text${sample}.`,
          remedy: 'Set `codec: { kind: lines, columns: … }` in the profile; `tautline new` writes one.',
        };
      }
      if (look.kind === 'frames') {
        return {
          says: 'Frames of the link protocol come, but the profile expects lines of text.',
          remedy: 'Take `codec` out of the profile; `tautline new` writes one for this glove.',
        };
      }
      const came = look.line === undefined ? 0 : look.line.trim().split(codec.separator).length;
      if (came === 0) {
        return {
          says: 'Text comes, but no lines of numbers.',
          remedy: 'Something else may be at this port.',
        };
      }
      const wanted = codec.columns.length;
      return {
        says:
          came === wanted
            ? `Lines come${sample}, but a column is no number of its channel's bits.`
            : `Lines of ${came} columns come${sample}, but codec.columns names ${wanted}.`,
        remedy:
          'Correct `codec.columns`, `separator` or `radix`; write `skip` for a column that is of no use.',
      };
    },
  };
}
