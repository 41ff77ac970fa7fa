/** The first stops of the Tab key, seen while they have the focus: past the controls that every part has. */
export const SkipLinks = ({ to }: { to: readonly { label: string; id: string }[] }) => (
  <nav class="skips" aria-label="Skip">
    {to.map(({ label, id }) => (
      <a
        key={id}
        href={`#${id}`}
        class="skip"
        onClick={(event) => {
          // The address names the part that is shown.
          event.preventDefault();
          document.getElementById(id)?.focus();
        }}
      >
        {label}
      </a>
    ))}
  </nav>
);
