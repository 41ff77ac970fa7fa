/** An element that was made elsewhere. */
export const Mounted = ({ child }: { child: HTMLElement }) => (
  <div
    ref={(box) => {
      if (box && child.parentNode !== box) box.append(child);
    }}
  />
);
