/** Outcomes of a campaign as JUnit XML (the form that CI servers read): one case each, a failure with what there is to say. */
import { printable } from '../bench/print.ts';

export interface JunitCase {
  readonly name: string;
  readonly group: string;
  /** What failed in one line, and the rest of it. */
  readonly failure?: { readonly message: string; readonly type: string; readonly text: string };
}

/** Without times and host names of its own: the same campaign gives the same bytes. */
export function junitText(suite: string, cases: readonly JunitCase[]): string {
  const failures = cases.filter(({ failure }) => failure !== undefined).length;
  const head = `name="${attribute(suite)}" timestamp="1970-01-01T00:00:00" hostname="localhost" tests="${cases.length}" failures="${failures}" errors="0" time="0"`;
  const bodies = cases.map(({ name, group, failure }) => {
    const open = `    <testcase name="${attribute(name)}" classname="${attribute(group)}" time="0"`;
    if (failure === undefined) return `${open}/>\n`;
    const { message, type, text } = failure;
    return `${open}>\n      <failure message="${attribute(message)}" type="${attribute(type)}">${content(text)}</failure>\n    </testcase>\n`;
  });
  return `<?xml version="1.0" encoding="UTF-8"?>\n<testsuites>\n  <testsuite ${head}>\n    <properties/>\n${bodies.join('')}    <system-out/>\n    <system-err/>\n  </testsuite>\n</testsuites>\n`;
}

function content(text: string): string {
  return text
    .split('\n')
    .map((line) => printable(line).replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;'))
    .join('\n');
}

function attribute(text: string): string {
  return content(printable(text)).replaceAll('"', '&quot;');
}
