/** A line of a list of facts: what, and how it is. */
export const Fact = ({ term, text, bad = false }: { term: string; text: string; bad?: boolean }) => (
  <div data-bad={bad ? '' : undefined}>
    <dt>{term}</dt>
    <dd>{text}</dd>
  </div>
);
