/**
 * What its maker may write and others read.
 *
 * On the way of a sample, what changes is such a field, or a method: no getter of an object literal. V8 keeps an object
 * whose literal has an accessor, and was made more than once, as a hash table, and then every use of it, its methods
 * too, is looked up there (tests/floor-plan.test.ts).
 */
export type Mutable<T> = { -readonly [K in keyof T]: T[K] };
