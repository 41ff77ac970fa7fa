import type { ComponentChild } from 'preact';

/** The heads of the columns of a table. */
export const Heads = ({ of }: { of: readonly ComponentChild[] }) => (
  <thead>
    <tr>
      {of.map((head, column) => (
        <th key={column} scope="col">
          {head}
        </th>
      ))}
    </tr>
  </thead>
);
