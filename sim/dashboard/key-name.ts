/** The name by which the key table knows a key, from what Ink's input hook tells of it. */
import type { Key } from 'ink';

const NAMED = [
  ['upArrow', 'up'],
  ['downArrow', 'down'],
  ['leftArrow', 'left'],
  ['rightArrow', 'right'],
  ['pageUp', 'pageup'],
  ['pageDown', 'pagedown'],
  ['home', 'home'],
  ['end', 'end'],
  ['return', 'return'],
  ['escape', 'escape'],
  ['tab', 'tab'],
  ['backspace', 'backspace'],
  // Ink calls the code that most terminals send for the backspace key (127) delete.
  ['delete', 'backspace'],
] as const;

/** One name for each key in `input`: keys that are pressed quickly may arrive together. */
export function keyNames(input: string, key: Key): string[] {
  if (key.ctrl) return [`ctrl+${input}`];
  const named = NAMED.find(([flag]) => key[flag]);
  if (named !== undefined) return [named[1]];
  return [...input].flatMap((character) => IN_A_ROW[character] ?? (character < ' ' ? [] : [character]));
}

/** What has a name of its own, where several keys arrived as one text. */
const IN_A_ROW: Readonly<Record<string, string>> = {
  ' ': 'space',
  '\r': 'return',
  '\n': 'return',
  '\t': 'tab',
  '\b': 'backspace',
  '\u007f': 'backspace',
  '\u001b': 'escape',
};
