import { InvalidArgumentError } from 'commander';

/** Option that must be a number above 0. */
export function positive(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !(value > 0) || !Number.isFinite(value)) {
    throw new InvalidArgumentError('Give a number above 0.');
  }
  return value;
}

/** Option that must be 0 or more. */
export function notNegative(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !(value >= 0) || !Number.isFinite(value)) {
    throw new InvalidArgumentError('Give a number, 0 or more.');
  }
  return value;
}
