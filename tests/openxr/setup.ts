import { buildAll } from './build.js';

/** Builds the layer, the test runtime and the test application, unless they are as they were. */
export default function setup(): void {
  buildAll();
}
