/** The bench file that `jackstand new` writes: each value with a comment that says what it is and where it comes from. */
import { stringify } from 'yaml';
import { formatQuantity } from '../../units/index.ts';
import { type Answers, numberOf, wordOf } from './answers.ts';
import type { AnswerName } from './flags.ts';
import { ADC_BITS } from './timer.ts';

/** Settings of `jackstand tune` laid over the answers, by dotted path. */
export type Patch = Readonly<Record<string, unknown>>;

/** `usual` names the answers that nobody gave, so that the file can say which values are still to be measured. */
export function benchText(answers: Answers, usual: ReadonlySet<AnswerName>, patch: Patch = {}): string {
  const names = controllerNames(answers);
  const word = (name: AnswerName): string => quoted(wordOf(answers, name));
  const mark = (...of: AnswerName[]): string => {
    const guessed = of.filter((name) => usual.has(name));
    if (guessed.length === 0) return '';
    return guessed.length === of.length
      ? '  # usual: measure yours'
      : `  # usual: ${guessed.join(', ')}; measure yours`;
  };
  const lines = [
    '# Written by `jackstand new`. Quantities have units, and a tolerance where you know one: 0.9 V ± 40 mV.',
    '# `jackstand schema bench` says what else can stand here. First power with the wheels off the ground.',
    `bench: ${quoted(wordOf(answers, 'name'))}`,
    '',
    '# Label, and volts under load.',
    `battery: { chemistry: ${word('chemistry')}, cells: ${word('cells')}, capacity: ${word('capacity')}, resistance: ${word('battery-resistance')}, charge: 95 % }${mark('chemistry', 'cells', 'capacity', 'battery-resistance')}`,
    '# From the battery to the controllers; the length is counted out and back.',
    `harness: { main: { length: ${word('wire-length')}, area: ${word('wire-area')}, fuse: ${word('fuse')} } }${mark('wire-length', 'wire-area', 'fuse')}`,
    `# What feeds board and pedal${wordOf(answers, 'rail-from') === 'controller' ? ', inside the first controller' : ''}.`,
    `rail: { ${wordOf(answers, 'rail-from') === 'controller' ? `from: ${names[0]!}, ` : ''}voltage: ${word('rail')} }${mark('rail-from', 'rail')}`,
    '',
    ...pedalLines(answers, word, mark),
    '',
    ...boardLines(answers, word, mark, patch),
    '',
    ...controllerLines(answers, names, word, mark),
    ...(wordOf(answers, 'motors') === 'yes' ? ['', ...motorLines(answers, names, word, mark)] : []),
  ];
  return `${lines.join('\n')}\n`;
}

/** Two alike are told apart by their side. */
export const controllerNames = (answers: Answers): readonly string[] =>
  wordOf(answers, 'controllers') === '2' ? ['left', 'right'] : ['main'];

type Word = (name: AnswerName) => string;
type Mark = (...of: AnswerName[]) => string;

function pedalLines(answers: Answers, word: Word, mark: Mark): string[] {
  const kind = wordOf(answers, 'pedal');
  if (kind === 'switch') return ['# An on-off switch to the supply.', `pedal: { kind: switch }${mark('pedal')}`];
  const own =
    kind === 'hall' ? `ratiometric: ${wordOf(answers, 'ratiometric') === 'yes'}` : `track: ${word('pedal-track')}`;
  return [
    '# Volts between signal wire and ground, foot off and pressed home, at the supply `at`.',
    '# Noise and lag come with a capture: `jackstand measure CAPTURE` says what to add.',
    `pedal: { kind: ${kind}, rest: ${word('pedal-rest')}, full: ${word('pedal-full')}, at: ${word('pedal-supply')}, ${own} }${mark('pedal', 'pedal-rest', 'pedal-full', 'pedal-supply', kind === 'hall' ? 'ratiometric' : 'pedal-track')}`,
  ];
}

function boardLines(answers: Answers, word: Word, mark: Mark, patch: Patch): string[] {
  const board = {
    adc: { bits: ADC_BITS, reference: 'rail', pull: wordOf(answers, 'pull'), prescaler: adcDivider(answers) },
    pwm: {
      bits: Number(wordOf(answers, 'timer-bits')),
      mode: wordOf(answers, 'timer-mode'),
      prescaler: Number(wordOf(answers, 'prescaler')),
      ...(Number.isNaN(numberOf(answers, 'top')) ? {} : { top: numberOf(answers, 'top') }),
    },
    firmware: {
      kind: 'mapping',
      every: wordOf(answers, 'every'),
      input: [numberOf(answers, 'count-rest'), numberOf(answers, 'count-full')],
      output: [numberOf(answers, 'compare-rest'), numberOf(answers, 'compare-full')],
      clamp: wordOf(answers, 'clamp') === 'yes',
    },
  };
  const isTuned = Object.keys(patch).length > 0;
  const section = (name: keyof typeof board): string => {
    const stem = `board.${name}.`;
    const laid = Object.entries(patch).flatMap(([path, value]) =>
      path.startsWith(stem) ? [[path.slice(stem.length), value] as const] : [],
    );
    return flow({ ...board[name], ...Object.fromEntries(laid) });
  };
  return [
    'board:',
    `  clock: ${word('clock')}${mark('clock')}`,
    '  # The converter that reads the pedal, and the resistor on its pin, which an open wire follows.',
    `  adc: ${section('adc')}${mark('pull')}`,
    isTuned ? '  # The timer that makes the pulse, as jackstand tune found it.' : '  # The timer that makes the pulse.',
    `  pwm: ${section('pwm')}${isTuned ? '' : mark('timer-bits', 'timer-mode', 'prescaler')}`,
    '  # The program: counts of the pedal (rest, full) are mapped to compare values of the timer (rest, full).',
    `  firmware: ${section('firmware')}${isTuned ? '' : mark('every', 'count-rest', 'count-full', 'compare-rest', 'compare-full', 'clamp')}`,
  ];
}

/** The finest divider of the converter that keeps its clock at 200 kHz or below (ATmega328P data sheet, full resolution). */
function adcDivider(answers: Answers): number {
  return [2, 4, 8, 16, 32, 64, 128].find((divider) => numberOf(answers, 'clock') / divider <= 200e3) ?? 128;
}

function controllerLines(answers: Answers, names: readonly string[], word: Word, mark: Mark): string[] {
  const hasReverse = wordOf(answers, 'reverse-pulse') !== 'none';
  const cutoff = wordOf(answers, 'cutoff');
  const [first, ...others] = names as [string, ...string[]];
  return [
    'controllers:',
    `  ${first}:`,
    '    # Manual or measurement: the pulses it knows, and the times from pulse to pulse that it accepts.',
    `    pulse: { neutral: ${word('neutral')}, full: ${word('full')}, ${hasReverse ? `reverse: ${word('reverse-pulse')}, ` : ''}valid: [${validRange(answers).join(', ')}], period: [${word('period-least')}, ${word('period-most')}] }${mark('neutral', 'full', 'reverse-pulse', 'period-least', 'period-most')}`,
    '    # It arms after this long inside this window about neutral.',
    `    arming: { window: ± ${half(answers)}, hold: ${word('hold')} }${mark('window', 'hold')}`,
    `    reverse: ${hasReverse ? word('reverse-rule') : 'none'}${hasReverse ? mark('reverse-rule') : ''}`,
    ...(cutoff === 'none' ? [] : [`    cutoff: { cut: ${quoted(cutoff)} }${mark('cutoff')}`]),
    `    signal-loss: { then: ${word('signal-loss')} }${mark('signal-loss')}`,
    ...others.map((name) => `  ${name}: { like: ${first} }`),
  ];
}

/** Wide enough for every pulse that was named, and at least what is usual. */
function validRange(answers: Answers): [string, string] {
  const window = numberOf(answers, 'window');
  const neutral = numberOf(answers, 'neutral');
  const named = [numberOf(answers, 'full'), numberOf(answers, 'reverse-pulse') || neutral];
  const low = Math.min(neutral - window, ...named) - 100e-6;
  const high = Math.max(neutral + window, ...named) + 100e-6;
  const time = (seconds: number): string => formatQuantity(seconds, 'time');
  return [time(Math.min(700e-6, low)), time(Math.max(2400e-6, high))];
}

/** The window's half-width without a sign, and without a tolerance of its own, which `±` cannot have twice. */
function half(answers: Answers): string {
  return formatQuantity(numberOf(answers, 'window'), 'time', { digits: 6 });
}

function motorLines(answers: Answers, names: readonly string[], word: Word, mark: Mark): string[] {
  const resistance = numberOf(answers, 'motor-resistance');
  const constant = numberOf(answers, 'motor-volts') / numberOf(answers, 'motor-speed');
  // Windings of such motors settle in about half a millisecond: common practice, no source.
  const inductance = formatQuantity(Math.max(120e-6, resistance * 0.5e-3), 'inductance', { digits: 3 });
  const [first, ...others] = names as [string, ...string[]];
  return [
    `# The constant is ${wordOf(answers, 'motor-volts')} over ${wordOf(answers, 'motor-speed')} without load; the inductance is a guess until it is measured.`,
    'motors:',
    `  ${first}: { resistance: ${word('motor-resistance')}, inductance: ${inductance}, constant: ${formatQuantity(constant, 'motor-constant', { digits: 3 })}, gear: ${word('gear')} }${mark('motor-resistance', 'motor-volts', 'motor-speed', 'gear')}`,
    ...others.map((name) => `  ${name}: { like: ${first} }`),
    '# Wheels off the ground; `on: ground` lets it roll.',
    `vehicle: { mass: ${word('mass')}, wheel: ${word('wheel')}, on: stands }${mark('mass', 'wheel')}`,
  ];
}

/** A text as it can stand inside of `{ }`. */
export function quoted(text: string): string {
  return /^[\p{L}\d.+-][\p{L}\d .±%°·²/+-]*$/u.test(text) && !/[-:]$|^(true|false|null|yes|no|~)$/i.test(text)
    ? text
    : stringify(text, { defaultStringType: 'QUOTE_DOUBLE', lineWidth: 0 }).trim();
}

function flow(map: Readonly<Record<string, unknown>>): string {
  const value = (one: unknown): string =>
    Array.isArray(one) ? `[${one.join(', ')}]` : typeof one === 'string' ? quoted(one) : String(one);
  return `{ ${Object.entries(map)
    .map(([key, one]) => `${key}: ${value(one)}`)
    .join(', ')} }`;
}
