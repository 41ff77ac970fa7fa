import type { FitsInUse } from '../config/fit-file.js';
import { forwardKinematics } from '../hand/forward.js';
import type { Hello } from '../link/codec.js';
import { type Chain, type ChainSources, makeChain, prepareChain, sameGlove } from './chain.js';
import type { GloveCounters } from './counters.js';
import type { HandFrame } from './view.js';
import type { GloveWrist } from './wrist.js';

/** The chain of one glove, and when it is made again: the glove is a different one, or other fits count. */
export interface ChainInUse {
  now: Chain;
  /** The glove has said what it is, and it is not what this chain was made for. */
  differs(said: Hello): boolean;
  /** From here on, the chain of a glove that says this. */
  replaceFor(said: Hello): void;
  /** The chain with the fits that count now. */
  replace(): void;
  /** Of a recording that begins again: as it was made first, for the glove that was there last. */
  restart(): void;
  /** Works out between other work what `replace` needs. */
  prepare(): Promise<void>;
  /** Of a recording: fits in place of those in store. False when they are those in use. */
  useRecordedFits(fits: FitsInUse): boolean;
  /** Of a recording: what was followed of slow shifts, also of a glove that is yet to say what it is. */
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
  /** Of the glove that a recording was begun with, until it has said what it is. */
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
