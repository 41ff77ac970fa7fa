import { FINGERS, type HandSide } from '../../hand/joints.js';
import { make, setText } from '../dom.js';
import type { LiveHand } from '../live.js';
import { flexions, phalanges } from '../measured.js';
import { sideText } from './words.js';

const HEADS = ['Finger', 'Bones, mm', 'Knuckle', 'Middle joint', 'End joint'] as const;

/** The wearer's hand in numbers: the bones in use, and how far each joint is bent now. */
export function createMeasuredCard(): {
  element: HTMLElement;
  update(side: HandSide, hand: LiveHand | undefined): void;
} {
  const caption = make('caption');
  const rows = FINGERS.map((finger) => {
    const cells = HEADS.slice(1).map(() => make('td'));
    const name = finger.charAt(0).toUpperCase() + finger.slice(1);
    return { cells, row: make('tr', {}, make('th', { scope: 'row' }, name), ...cells) };
  });
  const element = make(
    'article',
    { class: 'card measured' },
    make('h3', {}, 'Measured hand'),
    make(
      'table',
      { class: 'forces' },
      caption,
      make('thead', {}, make('tr', {}, ...HEADS.map((head) => make('th', { scope: 'col' }, head)))),
      make('tbody', {}, ...rows.map(({ row }) => row)),
    ),
  );
  return {
    element,
    update(side, hand) {
      if (!hand) return;
      const { info, joints } = hand;
      const { lengthM, breadthM } = info.skeleton;
      setText(
        caption,
        `${sideText(side)}, ${(lengthM * 1000).toFixed(0)} mm long and ${(breadthM * 1000).toFixed(0)} mm broad`,
      );
      rows.forEach(({ cells }, finger) => {
        const lengths = phalanges(info, finger);
        setText(cells[0], lengths.map((length) => (length * 1000).toFixed(0)).join(' + '));
        const angles = joints?.valid ? flexions(joints.poses, finger) : undefined;
        // The thumb has no middle joint.
        const places = lengths.length === 2 ? [0, 2] : [0, 1, 2];
        cells.slice(1).forEach((cell, place) => {
          const angle = places.includes(place) ? angles?.[places.indexOf(place)] : undefined;
          setText(cell, angle === undefined ? '–' : degrees(angle));
        });
      });
    },
  };
}

const degrees = (angle: number): string => `${Math.round((angle * 180) / Math.PI)}°`.replace('-', '−');
