/** The sentences for what a program did that a builder should know of. */
import type { FindingKind } from '../avr/finding.ts';
import { registerName } from '../avr/peripherals/registers.ts';
import type { Found } from './ahead.ts';
import type { PlaceOf } from './place.ts';

const hex = (value: number): string => `0x${value.toString(16).padStart(4, '0')}`;

const coreWords: { readonly [Kind in FindingKind]: (address: number) => string } = {
  'illegal-instruction': () => 'an instruction that this chip does not have was carried out as doing nothing',
  'outside-image': () => 'the program ran into flash that the image does not give: a jump or a return went astray',
  'load-outside-memory': (address) => `a load from ${hex(address)}, where there is no memory, gave 0`,
  'store-outside-memory': (address) => `a store to ${hex(address)}, where there is no memory, is lost`,
  'stack-into-data': (address) => `the stack has grown down to ${hex(address)}, into variables or the heap`,
  'stack-outside-memory': (address) => `the stack was used at ${hex(address)}, outside of the memory`,
  'self-programming': () => 'self-programming does nothing here',
  break: () => 'a BREAK instruction does nothing without a debugger',
};

/** One sentence: what, with the register; where; when in the program's own time. */
export function findingWords(found: Found, placeOf: PlaceOf): string {
  const { code, address, pc } = found;
  const says = code in coreWords ? coreWords[code as FindingKind](address) : found.says;
  const name = address > 0 && address < 0x100 ? registerName(address) : undefined;
  const subject = name === undefined ? (code === 'reserved-register' ? `${hex(address)}: ` : '') : `${name}: `;
  return `${subject}${says}, in ${placeOf(pc)}`;
}
