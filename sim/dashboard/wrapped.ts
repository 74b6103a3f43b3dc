/** Text broken at blanks into rows of at most `width` characters. */
export function wrapped(text: string, width: number): string[] {
  const rows: string[] = [];
  let row = '';
  for (const word of text.split(' ')) {
    if (row !== '' && row.length + 1 + word.length > width) {
      rows.push(row);
      row = word;
    } else row = row === '' ? word : `${row} ${word}`;
  }
  return [...rows, row];
}
