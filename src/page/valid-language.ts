/**
 * A browser that was started without a locale (LANG=C) calls its language `en-US@posix`, which is none. The plots'
 * library asks for the numbers of that language as soon as it is loaded, and the whole page would end there: so this
 * is loaded before it.
 */
try {
  Intl.getCanonicalLocales(navigator.language);
} catch {
  Object.defineProperty(navigator, 'language', { value: 'en', configurable: true });
}
