/** Outcomes of a campaign as JUnit XML: one suite, a case for each thing that was looked at. */
import { type JunitCase, junitText } from '../report/junit.ts';

/** Without times and host names of its own: the same campaign gives the same bytes. */
export function campaignJunit(title: string, file: string, cases: readonly JunitCase[]): string {
  const suite = { name: title, file, facts: {}, cases, said: '', wallSeconds: 0 };
  return junitText([suite], { startedAt: new Date(0), hostname: '' });
}
