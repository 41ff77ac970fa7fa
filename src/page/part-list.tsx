import type { ComponentChildren } from 'preact';

/** What the way to a part is made of. */
export interface PartEntry {
  readonly name: 'bench' | 'signals' | 'fit' | 'touch' | 'sessions' | 'apps';
  readonly label: string;
  /** Inside of a 24 × 24 drawing. */
  readonly icon: ComponentChildren;
  /** It measures nothing: it does with fewer poses of a hand that rests. */
  readonly isGlanced?: boolean;
  /** Nothing in it takes the focus: the whole is scrolled by keys. */
  readonly isPlain?: boolean;
}

const Line = ({ d, round = false }: { d: string; round?: boolean }) => (
  <path
    d={d}
    fill="none"
    stroke="currentColor"
    stroke-width="2"
    stroke-linejoin="round"
    stroke-linecap={round ? 'round' : undefined}
  />
);
const Circle = ({ cx, cy, r }: { cx: number; cy: number; r: number }) => (
  <circle cx={cx} cy={cy} r={r} fill="none" stroke="currentColor" stroke-width="2" />
);

/** The parts in their order: the number of a part is its key. */
export const PARTS: readonly PartEntry[] = [
  {
    name: 'bench',
    label: 'Bench',
    icon: <Line d="M3 4h8v16H3zM14 4h7v7h-7zM14 14h7v6h-7z" />,
    isGlanced: true,
  },
  {
    name: 'signals',
    label: 'Signals',
    icon: <Line d="M2 13h4l2.500-8 4 15 3-11 1.500 4h5" round />,
    isPlain: true,
  },
  { name: 'fit', label: 'Fit', icon: <Line d="M4 7h16v10H4zM8 7v4M12 7v6M16 7v4" /> },
  {
    name: 'touch',
    label: 'Touch',
    icon: (
      <>
        <Circle cx={14.5} cy={14.5} r={7} />
        <path
          d="M3 3l6.200 6.200M9.500 5v4.500H5"
          fill="none"
          stroke="currentColor"
          stroke-width="2"
          stroke-linecap="round"
        />
      </>
    ),
  },
  {
    name: 'sessions',
    label: 'Sessions',
    icon: (
      <>
        <Circle cx={12} cy={12} r={9} />
        <circle cx="12" cy="12" r="4" fill="currentColor" />
      </>
    ),
    isGlanced: true,
  },
  {
    name: 'apps',
    label: 'Apps',
    icon: <Line d="M4 4h7v7H4zM13 4h7v7h-7zM4 13h7v7H4zM13 13h7v7h-7z" />,
    isGlanced: true,
    isPlain: true,
  },
];
