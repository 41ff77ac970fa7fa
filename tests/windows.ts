/** `npm run test:windows`: what is C++ of ours, as built for Windows, under Wine. `--if-possible`: without Wine, nothing. */
await import('./openxr/windows.js');
await import('./client/windows.js');
