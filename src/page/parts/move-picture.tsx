/**
 * Pictures of the moves that a wearer is asked for, drawn from numbers: how far each finger is closed, how far
 * they are spread, and what moves. Right hand, palm towards the viewer; mirrored for the left.
 */
interface Pose {
  /** Thumb to little, 0 straight, 1 closed. */
  closed: readonly [number, number, number, number, number];
  /** 0 together, 1 spread. */
  spread?: number;
}

const OPEN: Pose = { closed: [0, 0, 0, 0, 0], spread: 0.4 };
const FIST: Pose = { closed: [1, 1, 1, 1, 1] };
const REST: Pose = { closed: [0.15, 0.25, 0.3, 0.3, 0.25], spread: 0.4 };
const lone = (finger: number): Pose => ({
  closed: [0, 1, 2, 3, 4].map((f) => (f === finger ? 1 : 0)) as unknown as Pose['closed'],
  spread: 0.4,
});

/** What is shown solid, and, dashed, where the move begins. */
const POSES: Record<string, { to: Pose; from?: Pose }> = {
  rest: { to: REST },
  open: { to: OPEN, from: FIST },
  fist: { to: FIST, from: OPEN },
  roof: { to: { closed: [0, 0.5, 0.5, 0.5, 0.5] }, from: OPEN },
  hook: { to: { closed: [0, 0.8, 0.8, 0.8, 0.8] }, from: OPEN },
  together: { to: { closed: OPEN.closed, spread: 0 } },
  spread: { to: { closed: OPEN.closed, spread: 1 }, from: { closed: OPEN.closed, spread: 0 } },
  thumb: { to: lone(0), from: OPEN },
  index: { to: lone(1), from: OPEN },
  middle: { to: lone(2), from: OPEN },
  ring: { to: lone(3), from: OPEN },
  little: { to: lone(4), from: OPEN },
  thumbSweep: { to: lone(0), from: OPEN },
};

/** Root x, length, and the angle of full spread, for index to little. */
const FINGERS = [
  { x: 78, length: 66, angle: -13 },
  { x: 100, length: 74, angle: -3 },
  { x: 122, length: 67, angle: 8 },
  { x: 143, length: 52, angle: 20 },
] as const;
const ROOT_Y = 112;
const STUB = 20;
/** A finger is closed so far that it lies over the palm. */
const OVER = { thumb: 0.4, finger: 0.6 };

/** @param bar for a move that follows a bar: how far to be closed now */
export const MovePicture = ({ name, hand, bar }: { name: string; hand: string; bar: number | undefined }) => (
  <svg viewBox="0 0 220 230" aria-hidden="true">
    <g transform={hand === 'left' ? 'translate(220 0) scale(-1 1)' : undefined}>
      <Move name={name} bar={bar} />
    </g>
  </svg>
);

function Move({ name, bar = 0.5 }: { name: string; bar: number | undefined }) {
  if (name === 'controls') return <Controls />;
  if (name === 'pinch') return <Pinch />;
  if (name === 'follow')
    return <Hand pose={{ closed: [bar, bar, bar, bar, bar], spread: 0.3 * (1 - bar) }} kind="" />;
  const { to, from } = POSES[name] ?? POSES.rest;
  return (
    <>
      {from && <Hand pose={from} kind="ghost" />}
      <Hand pose={to} kind="" />
      {name === 'thumbSweep' && <Sweep />}
    </>
  );
}

/** @param kind a ghost is where the move begins */
function Hand({ pose: { closed, spread = 0 }, kind }: { pose: Pose; kind: '' | 'ghost' }) {
  const [c] = closed;
  const isOver = c > OVER.thumb;
  const turn = -52 + 104 * c - 14 * spread * (1 - c);
  const thumb = (
    <rect
      x="66"
      y={156 - 64}
      width="22"
      height="70"
      rx="11"
      transform={`rotate(${turn.toFixed(1)} 77 156)`}
      class={isOver ? 'over' : ''}
    />
  );
  return (
    <g class={`move-hand ${kind}`}>
      {!isOver && thumb}
      <Palm />
      {FINGERS.map((finger, i) => (
        <Finger key={finger.x} {...finger} closed={closed[i + 1]} spread={spread} isSolid={kind === ''} />
      ))}
      {isOver && thumb}
    </g>
  );
}

interface FingerProps {
  x: number;
  length: number;
  angle: number;
  closed: number;
  spread: number;
  isSolid: boolean;
}

function Finger({ x, length, angle, closed, spread, isSolid }: FingerProps) {
  const shown = STUB + (length - STUB) * (1 - closed);
  const turn = angle * (0.15 + 0.85 * spread);
  const sides = { x: x - 9.5, width: 19, rx: 9.5 };
  return (
    <g transform={`rotate(${turn.toFixed(1)} ${x} ${ROOT_Y})`}>
      <rect {...sides} y={ROOT_Y - shown} height={shown + 6} />
      {/* A closed finger lies on the palm: its end shows. */}
      {closed > OVER.finger && isSolid && (
        <rect {...sides} y={ROOT_Y - STUB + 6} height={18 + 24 * closed} class="over" />
      )}
    </g>
  );
}

const Palm = () => (
  <path d="M64 108 Q62 100 74 99 L146 102 Q156 104 155 114 L146 186 Q144 196 132 196 L88 196 Q78 196 75 186z" />
);

const Pinch = () => (
  <>
    <g class="move-hand">
      <rect x="112" y="40" width="19" height="80" rx="9.5" />
      <rect x="134" y="58" width="18" height="62" rx="9" />
      <rect x="91" y="34" width="19" height="86" rx="9.5" />
      <Palm />
      <rect x="33" y="62" width="62" height="19" rx="9.5" transform="rotate(38 80 100)" class="over" />
      <rect x="30" y="120" width="68" height="22" rx="11" transform="rotate(42 78 150)" class="over" />
    </g>
    <circle cx="38" cy="82" r="15" class="move-spot" />
  </>
);

const Sweep = () => (
  <>
    <path d="M22 96 Q70 60 150 140" class="move-arrow" />
    <path d="M137 138 L151 141 L149 126" class="move-arrow" />
  </>
);

const Controls = () => (
  <>
    <g class="move-hand">
      <circle cx="80" cy="105" r="46" />
      <circle cx="80" cy="105" r="20" class="over" />
      <rect x="146" y="62" width="34" height="24" rx="12" />
      <rect x="146" y="120" width="34" height="24" rx="12" />
    </g>
    <path d="M80 44v-18M80 166v18M19 105h-12M141 105h-8M72 33l8-8 8 8M72 177l8 8 8-8" class="move-arrow" />
  </>
);
