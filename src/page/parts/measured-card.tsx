import { type ReadonlySignal, useComputed } from '@preact/signals';
import { FINGERS, type HandSide } from '../../hand/joints.js';
import type { LiveHand } from '../live.js';
import { flexions, phalanges } from '../measured.js';
import { Heads } from './heads.js';
import { sideText } from './words.js';

const HEADS = ['Finger', 'Bones, mm', 'Knuckle', 'Middle joint', 'End joint'] as const;

/** The wearer's hand in numbers. */
export interface MeasuredHand {
  caption: string;
  /** Of each finger, what stands beside its name. */
  rows: string[][];
}

export function measuredHand(side: HandSide, { info, joints }: LiveHand): MeasuredHand {
  const { lengthM, breadthM } = info.skeleton;
  return {
    caption: `${sideText(side)}, ${(lengthM * 1000).toFixed(0)} mm long and ${(breadthM * 1000).toFixed(0)} mm broad`,
    rows: FINGERS.map((_, finger) => {
      const lengths = phalanges(info, finger);
      const angles = joints?.valid ? flexions(joints.poses, finger) : undefined;
      // The thumb has no middle joint.
      const places = lengths.length === 2 ? [0, 2] : [0, 1, 2];
      return [
        lengths.map((length) => (length * 1000).toFixed(0)).join(' + '),
        ...[0, 1, 2].map((place) => degrees(angles?.[places.indexOf(place)])),
      ];
    }),
  };
}

const degrees = (angle: number | undefined): string =>
  angle === undefined ? '–' : `${Math.round((angle * 180) / Math.PI)}°`.replace('-', '−');

interface MeasuredCardProps {
  measured: ReadonlySignal<MeasuredHand | undefined>;
  hidden: ReadonlySignal<boolean>;
}

/** The bones in use, and how far each joint is bent now. */
export function MeasuredCard({ measured, hidden }: MeasuredCardProps) {
  const caption = useComputed(() => measured.value?.caption ?? '');
  return (
    <article class="card measured" hidden={hidden}>
      <h3>Measured hand</h3>
      <table class="forces">
        <caption>{caption}</caption>
        <Heads of={HEADS} />
        <tbody>
          {FINGERS.map((finger, row) => (
            <tr key={finger}>
              <th scope="row">{finger.charAt(0).toUpperCase() + finger.slice(1)}</th>
              {HEADS.slice(1).map((head, cell) => (
                <td key={head}>
                  <Cell measured={measured} row={row} cell={cell} />
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </article>
  );
}

/** A text alone: another angle is written into it, and nothing is rendered. */
function Cell({ measured, row, cell }: Pick<MeasuredCardProps, 'measured'> & { row: number; cell: number }) {
  return <>{useComputed(() => measured.value?.rows[row][cell] ?? '')}</>;
}
