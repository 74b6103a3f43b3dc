/** What `tune` found, for people: a table, the chosen setting in registers, constants and YAML, and a picture. */
import type { Margin, Need } from '../../models/throttle/standing.ts';
import { pulseOverTravel } from '../campaign/tune/picture.ts';
import { yamlText } from '../campaign/tune/scenario-text.ts';
import type { Tuned, Tuning } from '../campaign/tune.ts';
import { formatQuantity } from '../units/index.ts';
import { counted } from './counted.ts';
import { paintFor } from './streams.ts';
import { tunePicture } from './tune-picture.ts';
import type { Look } from './verdict-text.ts';
import { wrapped } from './wrap.ts';

const ROWS_SHOWN = 10;
const INDENT = '  ';

/** Wherever settings are given that somebody will load into a vehicle. */
export const CAUTIONS = [
  'First power with the wheels off the ground, nobody aboard, a low current limit first,',
  'a fuse and a disconnect within reach; local codes and licensed practice before anyone rides.',
] as const;

const time = (seconds: number): string => formatQuantity(seconds, 'time');
const signed = (seconds: number): string => formatQuantity(seconds, 'time', { signed: true, digits: 3 });

/** `row` is the setting told in full, counted from 1. */
export function tuneText(tuning: Tuning, { row, isAll }: { row: number; isAll: boolean }, look: Look): string {
  const paint = paintFor(look);
  const { tuned, now, bench } = tuning;
  const chosen = tuned[row - 1];
  const fits = tuned[0]?.fits === true;
  const refusedCount = tuned.filter(({ confirmation }) => confirmation?.holds === false).length;
  const goodCount = fits ? tuned.length - refusedCount : 0;
  const over = `in the worst case of all tolerances of ${bench.title}`;
  const head =
    goodCount > 0
      ? `${counted(goodCount, 'timer setting')} ${goodCount === 1 ? 'arms and drives' : 'arm and drive'} ${over}`
      : `No timer setting${tuning.isInterrupted ? ' so far' : ''} arms and drives ${over}`;
  const lines = [
    (goodCount > 0 ? paint.good : paint.bad)(paint.strong(head)),
    ...(refusedCount > 0 ? wrapped(refusedWords(refusedCount, goodCount), INDENT, look.columns) : []),
    ...(tuning.isInterrupted
      ? wrapped(
          `interrupted: ${tuning.triedCount} of ${tuning.setupCount} ways to set up a timer had been looked at; the others may be better`,
          INDENT,
          look.columns,
        )
      : []),
    ...wrapped(
      `as it is: ${standingWords(now.standing.worst)}; ${counted(now.steps, 'drive step')}`,
      INDENT,
      look.columns,
    ),
    '',
    ...(fits || tuned.length === 0 ? [] : ['The nearest:']),
    ...table(isAll || !fits ? tuned : tuned.slice(0, Math.max(ROWS_SHOWN, row))),
    ...(fits && !isAll && tuned.length > ROWS_SHOWN ? [paint.faint(`${INDENT}... --all lists the others`)] : []),
    '',
    ...(chosen === undefined ? [] : chosenLines(tuning, chosen, row, look)),
    ...costLines(tuning, look),
    ...exactLines(tuning, look),
    ...CAUTIONS,
    ...wrapped(
      'What fits here fits the numbers of the bench file. The tool can say that a design fails; it cannot prove one safe.',
      '',
      look.columns,
    ),
  ];
  return `${lines.join('\n')}\n`;
}

/** Settings whose pulses are right by arithmetic, and with which the simulated vehicle does not do what it must. */
function refusedWords(refusedCount: number, goodCount: number): string {
  const more = goodCount > 0 ? 'more ' : '';
  const verb = refusedCount === 1 ? 'makes its pulses right and fails' : 'make their pulses right and fail';
  const elsewhere =
    goodCount > 0
      ? ''
      : ' What stops them is not the timer: write a row with --write FILE, and jackstand why FILE tells what does.';
  return `${refusedCount} ${more}${verb} when tried by simulation.${elsewhere}`;
}

const NEED_WORDS: Readonly<Record<Need, string>> = {
  frame: 'frame rate',
  rest: 'pulse at rest',
  full: 'pulse at full pedal',
  reverse: 'pulse at full reverse',
  valid: 'valid widths',
};

function standingWords({ need, controller, seconds, measured, wanted }: Margin): string {
  const range = `${time(measured.least)} to ${time(measured.most)}`;
  const outcome = seconds >= 0 ? `worst margin ${signed(seconds)}` : `fails by ${time(-seconds)}`;
  return `${outcome} (${controller}, ${NEED_WORDS[need]}: it may measure ${range}, needed is ${wantedWords(wanted)})`;
}

function wantedWords({ least, most }: Margin['wanted']): string {
  if (!Number.isFinite(most)) return `${time(least)} or more`;
  return Number.isFinite(least) ? `${time(least)} to ${time(most)}` : `${time(most)} or less`;
}

const MODE_WORDS = { fast: 'fast', 'phase-correct': 'phase', 'phase-and-frequency-correct': 'phase+freq' } as const;

function table(tuned: readonly Tuned[]): string[] {
  const hasReverse = tuned.some(({ constants }) => constants.reverse !== null);
  const rows = tuned.map((one, index) => [
    String(index + 1),
    one.setup.timer.name,
    `${one.setup.waveform.number} ${MODE_WORDS[one.setting.mode]}`,
    String(one.setting.prescaler),
    String(one.setting.top),
    time(one.frameSeconds),
    time(one.tickSeconds),
    `${one.constants.output[0]}..${one.constants.output[1]}`,
    ...(hasReverse ? [one.constants.reverse === null ? '-' : String(one.constants.reverse)] : []),
    signed(one.standing.worst.seconds),
    String(one.steps),
    tried(one),
    one.sideEffects.map(({ code }) => code).join(' '),
  ]);
  const head = [
    '#',
    'timer',
    'mode',
    'divider',
    'top',
    'frame',
    'tick',
    'output',
    ...(hasReverse ? ['reverse'] : []),
    'worst',
    'steps',
    'tried',
    'beside',
  ];
  const widths = head.map((title, column) => Math.max(title.length, ...rows.map((cells) => cells[column]!.length)));
  return [head, ...rows].map((cells) =>
    (INDENT + cells.map((cell, column) => cell.padEnd(widths[column]!)).join('  ')).trimEnd(),
  );
}

const tried = ({ confirmation }: Tuned): string =>
  confirmation === undefined ? '' : confirmation.holds ? 'holds' : 'FAILS';

function chosenLines(tuning: Tuning, chosen: Tuned, row: number, look: Look): string[] {
  const paint = paintFor(look);
  const { setup, constants, standing, patch } = chosen;
  const name = `${setup.timer.name}, waveform mode ${setup.waveform.number} (${setup.waveform.mode}), clock / ${setup.prescaler}, top ${setup.top}`;
  const yaml = yamlText({ with: patch }).trimEnd();
  return [
    paint.strong(`Row ${row}: ${name}`),
    ...wrapped(standingWords(standing.worst), INDENT, look.columns),
    ...standing.margins
      .filter((margin) => margin !== standing.worst)
      .map(
        ({ controller, need, seconds }) =>
          `${INDENT}${signed(seconds).padStart(10)}  ${controller}, ${NEED_WORDS[need]}`,
      ),
    ...(chosen.confirmation === undefined
      ? chosen.fits
        ? [`${INDENT}not tried by simulation`]
        : []
      : chosen.confirmation.holds
        ? [
            `${INDENT}tried by simulation in both corners of the tolerances: it arms, stands still, drives fully and stops`,
          ]
        : chosen.confirmation.failed.flatMap((words) =>
            wrapped(`simulation disagrees: ${words}`, INDENT, look.columns),
          )),
    ...chosen.sideEffects.flatMap(({ says }) => wrapped(says, `${INDENT}- `, look.columns)),
    '',
    ...registerLines(chosen),
    '',
    ...constantLines(chosen, constants),
    '',
    Object.keys(patch).length === 0 ? 'The bench has it already.' : yaml,
    '',
    ...tunePicture(pulseOverTravel(tuning.path, chosen.setting, constants, 56), tuning.path.controllers[0]!),
    '',
  ];
}

function registerLines({ registers }: Tuned): string[] {
  const hex = (value: number): string => `0x${value.toString(16).toUpperCase().padStart(2, '0')}`;
  return registers.map(({ register, value, bits, says }) => {
    const isControl = bits.length > 0;
    const assigned = register.startsWith('DDR') ? '|=' : ' =';
    const written = isControl ? bits.map((bit) => `(1 << ${bit})`).join(' | ') : String(value);
    return `${INDENT}${register.padEnd(6)} ${assigned} ${written};  /* ${isControl ? `${hex(value)}, ` : ''}${says} */`;
  });
}

/** What the constants are, and the narrowest C types that hold them and everything computed from them. */
function constantLines(
  { compareRegister, setup }: Tuned,
  { input, output, integer, clamp, reverse, deadBand }: Tuned['constants'],
): string[] {
  const type = integer === 16 ? 'int16_t' : 'int32_t';
  const why =
    integer === 16
      ? 'no count makes the product leave 16 bits'
      : 'the product passes 32767, so that the plain int of this board would wrap round';
  return [
    `${INDENT}${compareRegister} = (count - ${input[0]}) * (${output[1] - output[0]}) / ${input[1] - input[0]} + ${output[0]}`,
    `${INDENT}${clamp ? `count first limited to ${Math.min(...input)} .. ${Math.max(...input)}; ` : ''}${deadBand > 0 ? `dead band ${deadBand}; ` : ''}computed in ${type} (${why})`,
    `${INDENT}written as ${setup.timer.counterBits === 16 ? 'uint16_t' : 'uint8_t'}${reverse === null ? '' : `; for reverse ${reverse} in place of ${output[1]}`}`,
  ];
}

/** What the tolerances cost; where nothing fits, what would have to give. */
function costLines({ tuned, costs }: Tuning, look: Look): string[] {
  const [best] = tuned;
  if (best === undefined) return ['No timer of this chip makes a pulse anywhere near neutral at this clock.', ''];
  const lines = costs.map(
    ({ path, tolerance, seconds }) =>
      `${INDENT}${signed(seconds).padStart(10)}  with ${path} exact (it is ${tolerance})`,
  );
  if (best.fits)
    return lines.length === 0 ? [] : ['What tolerances cost row 1: its worst margin would be', ...lines, ''];
  return ['To relax, one of:', ...wrapped(relaxWords(best), INDENT, look.columns), ...lines, ''];
}

/** A value without tolerance is taken at its word, and that is seldom so. */
function exactLines({ path: { exact } }: Tuning, { columns }: Look): string[] {
  if (exact.length === 0) return [];
  const values = exact.map(({ path, typical }) => (typical === null ? path : `${path} (${typical})`));
  return [...wrapped(`Taken as exact, as the bench gives no tolerance: ${values.join('; ')}.`, '', columns), ''];
}

function relaxWords({ standing }: Tuned): string {
  const { worst } = standing;
  const { need, controller, measured, wanted } = worst;
  const by = time(-worst.seconds);
  const range = `${time(Math.min(measured.least, wanted.least))} to ${time(Math.max(measured.most, wanted.most))}`;
  if (!standing.hasPulses) return 'a clock or divider with which the pulse fits into the frame';
  if (need === 'rest') return `${controller}: a neutral window (and dead band) of ${range}, which is ${by} more`;
  if (need === 'frame') return `${controller}: frames of ${range}, which is ${by} more`;
  if (need === 'valid') return `${controller}: valid widths of ${range}, which is ${by} more`;
  return `${controller}: a ${need} pulse that is ${by} nearer to neutral`;
}
