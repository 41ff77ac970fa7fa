import { type ReadonlySignal, useComputed } from '@preact/signals';
import { FINGERS, type HandSide } from '../../hand/joints.js';
import type { LiveHand } from '../live.js';
import { flexions, phalanges } from '../measured.js';
import { sideText } from './words.js';

const HEADS = ['Finger', 'Bones, mm', 'Knuckle', 'Middle joint', 'End joint'] as const;

/** What a profile that names no hand has: the defaults of its schema, which the page does without. */
export const USUAL_M = { length: 0.189, breadth: 0.085 };
const isNear = (a: number, b: number): boolean => Math.abs(a - b) < 0.0005;

/** The wearer's hand in numbers. */
export interface MeasuredHand {
  caption: string;
  /** As long and as broad, to the millimetre, as a hand of which nothing is known. */
  isUsual: boolean;
  /** Of each finger, what stands beside its name. */
  rows: string[][];
}

export function measuredHand(side: HandSide, { info, joints }: LiveHand): MeasuredHand {
  const { lengthM, breadthM } = info.skeleton;
  return {
    caption: `${sideText(side)}, ${(lengthM * 1000).toFixed(0)} mm long and ${(breadthM * 1000).toFixed(0)} mm broad`,
    isUsual: isNear(lengthM, USUAL_M.length) && isNear(breadthM, USUAL_M.breadth),
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

/** A hand that the profile gives by other numbers than the usual ones was measured, too. */
export const handHeading = (
  measured: Pick<MeasuredHand, 'isUsual'> | undefined,
  isFitted: boolean,
): string => (isFitted || measured?.isUsual === false ? 'Measured hand' : 'Hand model (default, not fitted)');

const degrees = (angle: number | undefined): string =>
  angle === undefined ? '–' : `${Math.round((angle * 180) / Math.PI)}°`.replace('-', '−');

interface MeasuredCardProps {
  measured: ReadonlySignal<MeasuredHand | undefined>;
  /** The bones are the wearer's. */
  isFitted: ReadonlySignal<boolean>;
  hidden: ReadonlySignal<boolean>;
}

/** The bones in use, and how far each joint is bent now. */
export function MeasuredCard({ measured, isFitted, hidden }: MeasuredCardProps) {
  const heading = useComputed(() => handHeading(measured.value, isFitted.value));
  const caption = useComputed(() => measured.value?.caption ?? '');
  return (
    <article class="card measured" hidden={hidden}>
      <h3>{heading}</h3>
      <table class="forces">
        <caption>{caption}</caption>
        <thead>
          <tr>
            {HEADS.slice(0, 2).map((head) => (
              <th key={head} scope="col" rowSpan={2}>
                {head}
              </th>
            ))}
            <th scope="colgroup" colSpan={3}>
              Joint angles now
            </th>
          </tr>
          <tr>
            {HEADS.slice(2).map((head) => (
              <th key={head} scope="col">
                {head}
              </th>
            ))}
          </tr>
        </thead>
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
