import type { GloveProfile } from '../config/schema.js';
import type { GloveCodec, GloveMessages } from './codec.js';
import { createFrameCodec } from './frames.js';
import { createLineCodec } from './lines.js';

/** The codec of a glove. */
export const codecOf =
  ({ codec, hand, channels, actuators }: GloveProfile) =>
  (messages: GloveMessages): GloveCodec =>
    codec.kind === 'lines'
      ? createLineCodec(codec, hand, channels, actuators, messages)
      : createFrameCodec(messages);
