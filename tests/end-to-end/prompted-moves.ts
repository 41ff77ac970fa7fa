import {
  checkMoves,
  firstMoves,
  fitMoves,
  furtherMoves,
  loneWithOthersHeld,
  type Move,
  namingMoves,
} from '../../src/guide/moves.js';
import { createClosingProfile } from '../../src/hand/closing.js';
import { FINGERS } from '../../src/hand/joints.js';
import { compileChannels } from '../../src/sensing/channels.js';
import { CURL_ROLES, channel, gloveWith, SPLAY_ROLES } from '../sensing/glove-signals.js';

const JOINTS = ['index.mcp', 'index.pip'] as const;

/** What every prompt asks for: a wearer who reads. */
export const MOVE_OF_PROMPT: ReadonlyMap<string, Move> = new Map(
  everyMove().map((move) => [move.prompt, move]),
);

function everyMove(): Move[] {
  const sensed = [...CURL_ROLES.slice(0, 1), ...JOINTS, ...SPLAY_ROLES];
  const moves: Move[] = [
    ...namingMoves(),
    ...furtherMoves({ joints: true, sideways: true }),
    ...FINGERS.map((_, finger) => loneWithOthersHeld(finger)),
  ];
  for (const roles of [sensed, [...sensed, ...CURL_ROLES.slice(1), 'trigger' as const]]) {
    const channels = compileChannels(
      gloveWith(roles.map((role) => channel(role))),
      roles,
      createClosingProfile(),
    );
    moves.push(...firstMoves(channels), ...fitMoves(channels));
    for (const buttons of [0, 2]) moves.push(...checkMoves(channels, buttons));
  }
  return moves;
}
