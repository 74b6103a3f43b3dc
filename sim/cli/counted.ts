/** A count with what it counts, in the plural where it is not one: `1 run`, `3 drive steps`. */
export function counted(count: number, what: string): string {
  return `${count} ${what}${count === 1 ? '' : 's'}`;
}
