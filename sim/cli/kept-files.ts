/** The files that `run --eeprom` writes: what a run leaves in a memory that outlasts the power, for the next run to find. */

import { type Problem, problemAt } from '../bench/problem.ts';
import { keeperOf, type Scenario } from '../verdict/run-scenario.ts';
import { writeWhole, writtenFileProblems } from './written-files.ts';

const OPTION = '--eeprom';
/** The parameter of a part that names such a file. */
export const EEPROM_KEY = 'eeprom';

/** What is wrong with the name given to `--eeprom`, found before anything is run. */
export function eepromProblems(wanted: string, scenarios: readonly Scenario[]): Problem[] {
  // Benches differ in their parts: one of them at least must have an EEPROM.
  if (scenarios.length > 0 && !scenarios.some(({ parts }) => keeperOf(parts, EEPROM_KEY) !== undefined))
    return [
      problemAt(wanted, 'refused', { path: OPTION, says: 'nothing here has an EEPROM; a compiled image has one' }),
    ];
  // An ending that --watch does not look at, so that what a run writes does not start the next.
  return writtenFileProblems(OPTION, wanted, ['.eep']);
}

export function writeKept(file: string, text: string): Problem[] {
  return writeWhole(OPTION, file, [text]);
}
