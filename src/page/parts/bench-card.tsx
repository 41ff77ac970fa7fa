import { computed, type ReadonlySignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import type { HandSide } from '../../hand/joints.js';
import type { Fault } from '../faults.js';
import type { Lead, OpenPlot } from '../part.js';
import type { BenchHand } from './bench-hand.js';
import { type ChannelLine, ChannelLineItem } from './channel-line.js';
import { FingerTable } from './finger-table.js';
import { InputTester } from './input-tester.js';
import { BENCH_FACTS, LinkFacts } from './link-facts.js';
import { UnusedList } from './unused-list.js';
import { WristNote } from './wrist-note.js';

/** Where a card leads. */
export interface Ways {
  openPlot: OpenPlot;
  lead: Lead;
  connect(): void;
}

/** A hand of the bench, rendered once: what changes is written where it stands. */
export function BenchCard({ hand, ways }: { hand: BenchHand; ways: Ways }) {
  const { side, played, isSilent, faults, lines, fingers, inputs, unused, link, wrist } = hand;
  return (
    <article class={computed(() => `bench-hand${isSilent.value ? ' old' : ''}`)} data-hand={side}>
      <header>
        <Heading hand={hand} ways={ways} />
        <p class="played" hidden={computed(() => played.value === '')}>
          {played}
        </p>
        <Faults side={side} faults={faults} openPlot={ways.openPlot} />
        <UnusedList text={unused} />
      </header>
      <section class="channels-of">
        <h4>Channels</h4>
        <Channels side={side} lines={lines} openPlot={ways.openPlot} />
      </section>
      <FingerTable fingers={fingers} />
      <InputTester inputs={inputs} />
      <section class="link-of">
        <h4>Link and battery</h4>
        <LinkFacts report={link} shown={BENCH_FACTS} name="link-line" />
        <WristNote text={wrist} />
      </section>
    </article>
  );
}

function Heading({ hand, ways }: { hand: BenchHand; ways: Ways }) {
  const { side, name, state, isSilent, standsIn, canCheck, canTry, notNow } = hand;
  const of = `the ${side} hand`;
  return (
    <div class="heading">
      <h3>{name}</h3>
      <p class="lead wide" role="status">
        {state}
      </p>
      <button
        type="button"
        class="small"
        hidden={computed(() => !standsIn.value)}
        aria-label="Simulated: connect yours"
        title="Connect a glove of your own"
        onClick={ways.connect}
      >
        Simulated
      </button>
      <span class="stale" data-none={computed(() => (isSilent.value ? undefined : 'true'))}>
        Stale
      </span>
      {/* What a glance does not tell: a sensor the wrong way round, a servo that does nothing. */}
      <Next
        offered={canCheck}
        notNow={notNow}
        title={`A few moves find what a glance does not, in the glove of ${of}`}
        act={() => ways.lead('check', side)}
      >
        Check<span class="long"> the glove</span>
      </Next>
      <Next
        offered={canTry}
        notNow={notNow}
        title={`One at a time, on ${of}`}
        act={() => ways.lead('servos', side)}
      >
        <span class="long">Try the </span>
        <span class="short">servos</span>
      </Next>
    </div>
  );
}

interface NextProps {
  offered: ReadonlySignal<boolean>;
  notNow: ReadonlySignal<string>;
  title: string;
  act(): void;
  children: ComponentChildren;
}
/** Stays where it is while it cannot be pressed, and says why: links that come and go must not move what is pressed. */
const Next = ({ offered, notNow, title, act, children }: NextProps) => (
  <button
    type="button"
    class="small next"
    hidden={computed(() => !offered.value)}
    aria-disabled={computed(() => (notNow.value === '' ? undefined : 'true'))}
    title={computed(() => notNow.value || title)}
    onClick={() => notNow.peek() === '' && act()}
  >
    {children}
  </button>
);

interface FaultsProps {
  side: HandSide;
  faults: ReadonlySignal<readonly Fault[]>;
  openPlot: OpenPlot;
}
const Faults = ({ side, faults, openPlot }: FaultsProps) => (
  <ul class="faults" aria-label={`Faults of the ${side} hand`}>
    {faults.value.map(({ key, where, what, remedy, role }) => (
      <li key={key}>
        <strong>{`${where}: ${what}`}</strong>
        {remedy !== '' && ` ${remedy} `}
        {role !== undefined && (
          <button
            type="button"
            class="link plot-it"
            aria-label={`Plot ${where}`}
            onClick={() => openPlot(side, role)}
          >
            Plot it
          </button>
        )}
      </li>
    ))}
  </ul>
);

interface ChannelsProps {
  side: HandSide;
  lines: ReadonlySignal<readonly ChannelLine[]>;
  openPlot: OpenPlot;
}
const Channels = ({ side, lines, openPlot }: ChannelsProps) => (
  <ul class="lines" aria-label={`Channels of the ${side} hand`}>
    {lines.value.map((line) => (
      <ChannelLineItem key={line.role} line={line} open={() => openPlot(side, line.role)} />
    ))}
  </ul>
);
