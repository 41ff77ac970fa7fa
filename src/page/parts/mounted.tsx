/** An element that was made elsewhere. */
export const Mounted = ({ child }: { child: HTMLElement }) => (
  <div
    ref={(box) => {
      if (box && child.parentNode !== box) box.append(child);
    }}
  />
);

/** Puts elements that were made elsewhere behind what is rendered in one. */
export const holding =
  (...children: readonly HTMLElement[]) =>
  (box: HTMLElement | null): void => {
    for (const child of children) if (box && child.parentNode !== box) box.append(child);
  };
