/** Lengths that pass for 1: what single precision and a few roundings leave of it, and generously more. */
const OFF = 0.02;

/** A quaternion as an app sent it, made exactly a unit one; or what is wrong with it. */
export function unitQuaternion([x, y, z, w]: readonly number[]): [number, number, number, number] | string {
  const length = Math.hypot(x, y, z, w);
  // Written so that what is not a number is refused.
  if (!(Math.abs(length - 1) <= OFF)) {
    return `a unit quaternion is needed; the length of this one is ${length.toFixed(3)}.`;
  }
  return [x / length, y / length, z / length, w / length];
}
