/** How a finger's pose came about. OpenXR's terms: tracked; valid but not tracked; not valid. */
export const INVALID = 0;
export const INFERRED = 1;
export const TRACKED = 2;

export type ValidityCode = typeof INVALID | typeof INFERRED | typeof TRACKED;

/** Names by code: `invalid` (the link is silent), `inferred` (filled in by coupling), `tracked` (measured). */
export const VALIDITY_NAMES = ['invalid', 'inferred', 'tracked'] as const;
export type Validity = (typeof VALIDITY_NAMES)[number];
