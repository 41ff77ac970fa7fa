/** Hands a file to the browser's downloads. */
export function saveFile(name: string, content: Blob): void {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(content);
  link.download = name;
  link.click();
  // Not before the download has begun.
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

export const saveText = (name: string, text: string): void =>
  saveFile(name, new Blob([text], { type: 'text/csv' }));

/** CSV as RFC 4180 has it: quotes where a field needs them, doubled inside, lines that end with CR LF. */
export const tableText = (heads: readonly string[], rows: readonly (readonly string[])[]): string =>
  [heads, ...rows].map((row) => `${row.map(quoted).join(',')}\r\n`).join('');

const quoted = (field: string): string =>
  /[",\r\n]/.test(field) ? `"${field.replaceAll('"', '""')}"` : field;
