import type { FitsInUse } from '../config/fit-file.js';
import { forwardKinematics } from '../hand/forward.js';
import type { Hello } from '../link/codec.js';
import { type Chain, type ChainSources, makeChain, prepareChain, sameGlove } from './chain.js';
import type { GloveCounters } from './counters.js';
import type { HandFrame } from './view.js';
import type { GloveWrist } from './wrist.js';

/** The chain of one glove, and when it is remade: because the glove has changed, or other fits apply. */
export interface ChainInUse {
  now: Chain;
  /** The glove has described itself, and differs from what this chain was made for. */
  differs(said: Hello): boolean;
  /** From here on, the chain of a glove with this description. */
  replaceFor(said: Hello): void;
  /** Remakes the chain with the present fits. */
  replace(): void;
  /** Of a recording that starts over: as it was first made, for the glove that was there last. */
  restart(): void;
  /** Prepares, between other work, what `replace` needs. */
  prepare(): Promise<void>;
  /** Of a recording: fits in place of the saved ones. False when they are in use already. */
  useRecordedFits(fits: FitsInUse): boolean;
  /** Of a recording: the drift that was followed, even for a glove that has yet to describe itself. */
  adoptDrift(memory: readonly (number | null)[]): void;
  /** The glove has said what it is. */
  introduced(): void;
}

export function createChainInUse(
  sources: ChainSources,
  frame: HandFrame,
  wrist: GloveWrist,
  counters: GloveCounters,
): ChainInUse {
  let hello: Hello | undefined;
  let recordedFits: FitsInUse | undefined;
  /** Of the glove that a recording began with, until it has described itself. */
  let recordedDrift: readonly (number | null)[] | undefined;

  /** Its hand is shown at once, at rest, until samples come. */
  function make(): Chain {
    const made = makeChain(sources, hello, recordedFits);
    wrist.mount = made.description.mount;
    forwardKinematics(made.skeleton, made.sensing.dofs, frame.poses, wrist.root);
    frame.velocities.fill(0);
    return made;
  }

  const chain: ChainInUse = {
    now: make(),
    differs: (said) => hello === undefined || !sameGlove(hello, said),
    replaceFor(said) {
      hello = said;
      chain.replace();
      if (recordedDrift) chain.now.sensing.adoptDrift(recordedDrift);
    },
    replace() {
      counters.keep(chain.now.resistance);
      chain.now = make();
    },
    restart() {
      recordedFits = undefined;
      recordedDrift = undefined;
      chain.replace();
    },
    prepare: () => prepareChain(sources, chain.now.description.hand),
    useRecordedFits(fits) {
      if (JSON.stringify(fits) === JSON.stringify(chain.now.fits)) return false;
      recordedFits = fits;
      return true;
    },
    adoptDrift(memory) {
      recordedDrift = memory;
      chain.now.sensing.adoptDrift(memory);
    },
    introduced() {
      recordedDrift = undefined;
    },
  };
  return chain;
}
