/**
 * Names of functions as people write them, from those in a WebAssembly file. The linker has made C++'s readable already;
 * Rust's still carry lengths, escapes and a hash: `_ZN4cart5drive17h0123456789abcdefE` is `cart::drive`.
 *
 * Source: rustc's "legacy" symbol names, RFC 2603 "Rust symbol name mangling v0", section "Background".
 */
const ESCAPED: Readonly<Record<string, string>> = {
  SP: '@',
  BP: '*',
  RF: '&',
  LT: '<',
  GT: '>',
  LP: '(',
  RP: ')',
  C: ',',
};

export function readableName(name: string): string {
  if (!name.startsWith('_ZN')) return name;
  const parts: string[] = [];
  let at = 3;
  while (at < name.length && name[at] !== 'E') {
    const digits = /^\d+/.exec(name.slice(at, at + 6))?.[0];
    const start = at + (digits?.length ?? 0);
    const end = start + Number(digits);
    // Not of this form: as it stands in the file it can still be searched for.
    if (digits === undefined || end > name.length) return name;
    parts.push(name.slice(start, end));
    at = end;
  }
  if (/^h[0-9a-f]{16}$/.test(parts.at(-1) ?? '')) parts.pop();
  return parts.length === 0 ? name : parts.map(unescaped).join('::');
}

function unescaped(part: string): string {
  return part
    .replace(/^_\$/, '$')
    .replace(/\$([A-Z]+|u[0-9a-f]{1,5})\$/g, (whole, code: string) =>
      code.startsWith('u') ? String.fromCodePoint(Number.parseInt(code.slice(1), 16)) : (ESCAPED[code] ?? whole),
    )
    .replaceAll('..', '::');
}

/**
 * Functions that only carry a failure out of the one where it came about: a panic of Rust goes through several of them.
 * Whoever is told of it wants to know their caller, rather than them or what they call.
 */
export function isOfPanic(name: string): boolean {
  return (
    /^(_?rust_(begin_unwind|panic)|__rust_(start_panic|alloc_error_handler|abort)|__rg_oom|abort$|rust_oom)/.test(
      name,
    ) ||
    /^_ZN(4core9panicking|3std9panicking|4core6(option|result)\d+\w*_failed|3std5alloc|5alloc5alloc18handle_alloc|5alloc7raw_vec17capacity_overflow|4core5slice5index\d+slice_\w*_fail)/.test(
      name,
    )
  );
}
