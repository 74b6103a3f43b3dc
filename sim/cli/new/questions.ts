/**
 * What `jackstand new` asks, in its order: what a multimeter, a data sheet and the labels of the parts tell. The usual
 * values are common practice, or follow from earlier answers.
 */
import { openVolts } from '../../../models/battery.ts';
import { partKinds } from '../../../models/index.ts';
import { PRESCALERS } from '../../../models/pwm-timer.ts';
import { formatQuantity, nominal } from '../../units/index.ts';
import { type Answers, choiceOf, numberOf, type Question, quantityOf, wordOf } from './answers.ts';
import {
  ADC_BITS,
  dividersThatDo,
  leastTop,
  longestPulse,
  mostTop,
  topOf,
  usualCompares,
  usualCounts,
  usualDivider,
  usualTop,
} from './timer.ts';

const seconds = (value: number): string => formatQuantity(value, 'time', { digits: 6 });
const volts = (value: number): string => formatQuantity(value, 'voltage', { digits: 3 });

/** Cells in series of a pack of about 24 V, volts of an empty cell (common practice), and of one in the middle. */
const CHEMISTRIES: Readonly<Record<string, { cells: number; emptyVolts: number; nominalVolts: number }>> = {
  'lead-acid': { cells: 12, emptyVolts: 1.75, nominalVolts: 2 },
  'lithium-ion': { cells: 7, emptyVolts: 3, nominalVolts: 3.6 },
  'lithium-iron-phosphate': { cells: 8, emptyVolts: 2.5, nominalVolts: 3.2 },
  'nickel-metal-hydride': { cells: 20, emptyVolts: 1, nominalVolts: 1.2 },
};
const chemistryOf = (answers: Answers) => CHEMISTRIES[wordOf(answers, 'chemistry')]!;

/** Volts of the full battery without load, as the model has them. */
function fullVolts(answers: Answers, cells = numberOf(answers, 'cells')): number {
  const { parameters } = partKinds.find(({ kind }) => kind === 'battery')!;
  const section = { chemistry: wordOf(answers, 'chemistry'), cells };
  return openVolts(nominal(parameters.parse(section)) as Parameters<typeof openVolts>[0], 1);
}

/** Cells that the controllers can start on, up to what the model takes. */
function leastCells(answers: Answers): number {
  let cells = 1;
  while (fullVolts(answers, cells) < LEAST_BATTERY_VOLTS) cells += 1;
  return cells;
}
/** Two volts above the least that a controller starts at. */
const LEAST_BATTERY_VOLTS = 7;
const [LEAST_PULSE, MOST_PULSE] = [500e-6, 2500e-6];
const LEAST_TRAVEL = 200e-6;
const LEAST_SWING_VOLTS = 0.5;

const YES_NO = [
  ['yes', ''],
  ['no', ''],
] as const;

const battery: readonly Question[] = [
  choiceOf(
    { name: 'chemistry', about: 'Battery', asks: 'Cells', hint: 'Its label says so.', usual: () => 'lead-acid' },
    [
      ['lead-acid', 'also gel and AGM'],
      ['lithium-ion', '3.6 V or 3.7 V a cell'],
      ['lithium-iron-phosphate', '3.2 V a cell'],
      ['nickel-metal-hydride', '1.2 V a cell'],
    ],
  ),
  quantityOf(
    {
      name: 'cells',
      about: 'Battery',
      asks: 'Cells in series',
      hint: 'A lead-acid battery of 12 V has 6, two of them in series 12; a lithium pack has its number before the S, as in 7S.',
      usual: (answers) => String(chemistryOf(answers).cells),
    },
    'count',
    (answers) => ({ least: leastCells(answers), most: 40 }),
  ),
  quantityOf(
    { name: 'capacity', about: 'Battery', asks: 'Capacity', hint: 'On its label, in Ah.', usual: () => '18 Ah' },
    'charge',
    { least: 0.5 * 3600, most: 500 * 3600 },
  ),
  quantityOf(
    {
      name: 'battery-resistance',
      about: 'Battery',
      asks: 'Inner resistance',
      hint: 'Volts without load less volts under a known load, divided by its amperes; a lamp of 50 W will do. Small lead-acid pairs have about 30 mohm.',
      usual: () => '30 mohm',
    },
    'resistance',
    { least: 1e-3, most: 1 },
  ),
  quantityOf(
    { name: 'fuse', about: 'Battery', asks: 'Main fuse', hint: 'Stamped on it.', usual: () => '40 A' },
    'current',
    { least: 1, most: 500 },
  ),
  quantityOf(
    {
      name: 'wire-length',
      about: 'Battery',
      asks: 'Length of the main cable, one way',
      hint: 'From battery to controllers, with a tape measure.',
      usual: () => '1 m',
    },
    'length',
    { least: 0.05, most: 20 },
  ),
  quantityOf(
    {
      name: 'wire-area',
      about: 'Battery',
      asks: 'Cross-section of one of its wires',
      hint: 'Printed on the cable; 10 AWG is 5.26 mm2, 12 AWG 3.31 mm2, 14 AWG 2.08 mm2.',
      usual: () => '6 mm2',
    },
    'area',
    { least: 0.5e-6, most: 100e-6 },
  ),
];

const controllers: readonly Question[] = [
  choiceOf(
    {
      name: 'controllers',
      about: 'Motor controllers',
      asks: 'How many, on one pulse line',
      hint: 'Two alike are called left and right, a single one main.',
      usual: () => '2',
    },
    [
      ['1', ''],
      ['2', 'both get the same pulse'],
    ],
  ),
  quantityOf(
    {
      name: 'neutral',
      about: 'Motor controllers',
      asks: 'Pulse at which the motor stands',
      hint: 'In its manual, or what a receiver gives with the stick in the middle: jackstand measure reads a capture of it.',
      usual: () => '1500 us',
    },
    'time',
    { least: LEAST_PULSE, most: MOST_PULSE },
  ),
  quantityOf(
    {
      name: 'full',
      about: 'Motor controllers',
      asks: 'Pulse for full drive',
      hint: 'In its manual, or with the stick fully forward.',
      usual: (answers) => (numberOf(answers, 'neutral') <= 2e-3 ? '2000 us' : '1500 us'),
    },
    'time',
    (answers) => ({
      least: LEAST_PULSE,
      most: MOST_PULSE,
      away: { from: numberOf(answers, 'neutral'), by: LEAST_TRAVEL, as: 'neutral' },
    }),
  ),
  quantityOf(
    {
      name: 'reverse-pulse',
      about: 'Motor controllers',
      asks: 'Pulse for full reverse, or none',
      hint: 'In its manual, or with the stick fully back. `none` if it has no reverse.',
      usual: (answers) => {
        const mirrored = 2 * numberOf(answers, 'neutral') - numberOf(answers, 'full');
        return mirrored < LEAST_PULSE || mirrored > MOST_PULSE ? 'none' : seconds(mirrored);
      },
    },
    'time',
    (answers) => {
      const [neutral, full] = [numberOf(answers, 'neutral'), numberOf(answers, 'full')];
      return full > neutral
        ? { least: LEAST_PULSE, most: neutral - LEAST_TRAVEL }
        : { least: neutral + LEAST_TRAVEL, most: MOST_PULSE };
    },
    true,
  ),
  quantityOf(
    {
      name: 'window',
      about: 'Motor controllers',
      asks: 'How far off neutral the startup pulse may be',
      hint: 'In its manual, as a dead band or neutral range. Measured: move a pulse generator off neutral until it no longer arms. Without either, 20 us is a careful guess.',
      usual: () => '20 us',
    },
    'time',
    { least: 1e-6, most: 150e-6 },
  ),
  quantityOf(
    {
      name: 'hold',
      about: 'Motor controllers',
      asks: 'How long neutral must last before it arms',
      hint: 'From the first pulse to its ready sound, with a stop watch.',
      usual: () => '1 s',
    },
    'time',
    { least: 0, most: 20 },
  ),
  quantityOf(
    {
      name: 'period-least',
      about: 'Motor controllers',
      asks: 'Shortest time from pulse to pulse that it accepts',
      hint: 'One over the greatest pulse rate in its manual: 250 Hz is 4 ms, 50 Hz is 20 ms.',
      usual: () => '4 ms',
    },
    'time',
    { least: 0.5e-3, most: 19e-3 },
  ),
  quantityOf(
    {
      name: 'period-most',
      about: 'Motor controllers',
      asks: 'Longest time from pulse to pulse that it accepts',
      hint: 'One over the least pulse rate in its manual.',
      usual: () => '25 ms',
    },
    'time',
    { least: 20e-3, most: 0.2 },
  ),
  choiceOf(
    {
      name: 'reverse-rule',
      about: 'Motor controllers',
      asks: 'What a backward pulse does while it drives',
      hint: 'In its manual; try it with the wheels off the ground only.',
      applies: (answers) => wordOf(answers, 'reverse-pulse') !== 'none',
      usual: () => 'brake-first',
    },
    [
      ['brake-first', 'brakes; reverse only after neutral'],
      ['direct', 'reverses at once'],
      ['delayed', 'reverses after some time in neutral'],
      ['none', 'nothing'],
    ],
  ),
  quantityOf(
    {
      name: 'cutoff',
      about: 'Motor controllers',
      asks: 'Supply below which it cuts off, or none',
      hint: 'In its manual, often so many volts for each cell.',
      usual: (answers) => volts(chemistryOf(answers).emptyVolts * numberOf(answers, 'cells')),
    },
    'voltage',
    (answers) => ({ least: 5, most: Math.floor(9.7 * fullVolts(answers)) / 10 }),
    true,
  ),
  choiceOf(
    {
      name: 'signal-loss',
      about: 'Motor controllers',
      asks: 'What it does when the pulses stop',
      hint: 'Pull the signal plug while the wheels turn off the ground.',
      usual: () => 'coast',
    },
    [
      ['coast', 'the motor runs out'],
      ['brake', 'the motor is braked'],
      ['hold', 'it drives on'],
    ],
  ),
  choiceOf(
    {
      name: 'rail-from',
      about: 'Motor controllers',
      asks: 'What feeds board and pedal',
      hint: 'Follow the red wire of the board.',
      usual: () => 'controller',
    },
    [
      ['controller', 'the regulator of the first controller'],
      ['own', 'a regulator of their own'],
    ],
  ),
  quantityOf(
    {
      name: 'rail',
      about: 'Motor controllers',
      asks: 'Voltage of that supply',
      hint: 'Multimeter between the supply and ground pins of the board, switched on.',
      usual: () => '5 V ± 2 %',
    },
    'voltage',
    { least: 3, most: 6 },
  ),
];

const isSensor = (answers: Answers): boolean => wordOf(answers, 'pedal') !== 'switch';
/** What a signal can be: a sensor that does not follow its supply must fit below the rail too. */
const signalMost = (answers: Answers): number =>
  wordOf(answers, 'ratiometric') === 'no'
    ? Math.min(numberOf(answers, 'pedal-supply'), numberOf(answers, 'rail'))
    : numberOf(answers, 'pedal-supply');

const pedal: readonly Question[] = [
  choiceOf(
    {
      name: 'pedal',
      about: 'Pedal',
      asks: 'What is in it',
      hint: 'Three wires and no fixed resistance between them: hall. Three wires, a fixed resistance between two of them: pot. Two wires: switch.',
      usual: () => 'hall',
    },
    [
      ['hall', 'a hall-effect sensor'],
      ['pot', 'a potentiometer'],
      ['switch', 'an on-off switch to the supply'],
    ],
  ),
  choiceOf(
    {
      name: 'ratiometric',
      about: 'Pedal',
      asks: 'Does its signal follow the supply',
      hint: 'Most hall pedals do: with a supply 10 % lower the signal is 10 % lower.',
      applies: (answers) => wordOf(answers, 'pedal') === 'hall',
      usual: () => 'yes',
    },
    YES_NO,
  ),
  quantityOf(
    {
      name: 'pedal-supply',
      about: 'Pedal',
      asks: 'Supply at which you measure the signal',
      hint: 'Multimeter between its red and black wires.',
      applies: isSensor,
      usual: (answers) => volts(numberOf(answers, 'rail')),
    },
    'voltage',
    { least: 3, most: 6 },
  ),
  quantityOf(
    {
      name: 'pedal-rest',
      about: 'Pedal',
      asks: 'Signal with the foot off',
      hint: 'Multimeter between its signal wire and ground; press and let go ten times, and write how far it strays: 0.9 V ± 40 mV.',
      applies: isSensor,
      usual: (answers) => volts(0.18 * signalMost(answers)),
    },
    'voltage',
    (answers) => ({ least: 0, most: signalMost(answers) }),
  ),
  quantityOf(
    {
      name: 'pedal-full',
      about: 'Pedal',
      asks: 'Signal with the pedal pressed home',
      hint: 'Likewise, pressed home ten times.',
      applies: isSensor,
      usual: (answers) => {
        const most = signalMost(answers);
        return volts(numberOf(answers, 'pedal-rest') < most / 2 ? 0.82 * most : 0.18 * most);
      },
    },
    'voltage',
    (answers) => ({
      least: 0,
      most: signalMost(answers),
      away: { from: numberOf(answers, 'pedal-rest'), by: LEAST_SWING_VOLTS, as: 'the signal at rest' },
    }),
  ),
  quantityOf(
    {
      name: 'pedal-track',
      about: 'Pedal',
      asks: 'Resistance from end to end',
      hint: 'Multimeter between its two outer wires, unplugged.',
      applies: (answers) => wordOf(answers, 'pedal') === 'pot',
      usual: () => '10 kohm',
    },
    'resistance',
    { least: 100, most: 1e6 },
  ),
  choiceOf(
    {
      name: 'pull',
      about: 'Pedal',
      asks: "Resistor from the board's signal pin",
      hint: 'It decides what the board sees when the signal wire breaks. To ground is the one that stops a rising pedal.',
      usual: () => 'down',
    },
    [
      ['down', 'to ground'],
      ['up', 'to the supply'],
      ['none', 'the pin floats'],
    ],
  ),
];

const DIVIDERS: readonly (readonly [string, string])[] = PRESCALERS.map((divider) => [String(divider), '']);

const board: readonly Question[] = [
  quantityOf(
    {
      name: 'clock',
      about: 'Board',
      asks: 'Its clock',
      hint: 'Stamped on its crystal; without one the chip runs at 8 MHz ± 10 %, or as it was set.',
      usual: () => '16 MHz',
    },
    'frequency',
    { least: 1e6, most: 20e6 },
  ),
  choiceOf(
    {
      name: 'timer-bits',
      about: 'Board',
      asks: 'Bits of the timer that makes the pulse',
      hint: "In the chip's data sheet, for the pin that is used.",
      usual: () => '8',
    },
    [
      ['8', ''],
      ['9', ''],
      ['10', ''],
      ['16', 'with or without a top register'],
    ],
  ),
  choiceOf(
    {
      name: 'timer-mode',
      about: 'Board',
      asks: 'How it counts',
      hint: 'The waveform mode that the program sets.',
      usual: () => 'fast',
    },
    [
      ['fast', 'up, then from 0 again'],
      ['phase-correct', 'up and down'],
    ],
  ),
  divider(),
  quantityOf(
    {
      name: 'top',
      about: 'Board',
      asks: 'Its top value, or none',
      hint: 'Where the program writes one (ICR1, OCR1A); `none` if it counts to the end.',
      applies: (answers) => wordOf(answers, 'timer-bits') === '16',
      usual: (answers) => String(usualTop(answers)),
    },
    'count',
    (answers) => ({ least: leastTop(answers), most: mostTop(answers) }),
    true,
  ),
  quantityOf(
    {
      name: 'every',
      about: 'Board',
      asks: 'Time from one pass of its program to the next',
      hint: 'The delay in its loop, or what jackstand measure says of a pin that it toggles.',
      usual: () => '10 ms',
    },
    'time',
    { least: 1e-3, most: 0.1 },
  ),
  quantityOf(
    {
      name: 'count-rest',
      about: 'Board',
      asks: 'Count that the program takes for the foot off',
      hint: 'The low constants of its mapping. The usual value follows from the volts above, a few counts inside.',
      usual: (answers) => String(usualCounts(answers)[0]),
    },
    'count',
    { least: 0, most: 2 ** ADC_BITS - 1 },
  ),
  quantityOf(
    {
      name: 'count-full',
      about: 'Board',
      asks: 'Count that it takes for full pedal',
      hint: 'Likewise.',
      usual: (answers) => {
        const [rest, full] = usualCounts(answers);
        const away = Math.abs(full - numberOf(answers, 'count-rest')) >= 20;
        return String(away ? full : rest);
      },
    },
    'count',
    (answers) => ({
      least: 0,
      most: 2 ** ADC_BITS - 1,
      away: { from: numberOf(answers, 'count-rest'), by: 20, as: 'the count at rest' },
    }),
  ),
  choiceOf(
    {
      name: 'clamp',
      about: 'Board',
      asks: 'Does it limit the count to that range',
      hint: 'A plain linear mapping does not: beyond its ends it goes on.',
      usual: () => 'yes',
    },
    YES_NO,
  ),
  quantityOf(
    {
      name: 'compare-rest',
      about: 'Board',
      asks: 'Compare value that it writes with the foot off',
      hint: 'The usual value is the one nearest to neutral.',
      usual: (answers) => String(usualCompares(answers)[0]),
    },
    'count',
    (answers) => ({ least: 0, most: topOf(answers) }),
  ),
  quantityOf(
    {
      name: 'compare-full',
      about: 'Board',
      asks: 'Compare value that it writes at full pedal',
      hint: 'The usual value is the first that gives full drive.',
      usual: (answers) => {
        const [rest, full] = usualCompares(answers);
        return String(full === numberOf(answers, 'compare-rest') ? rest : full);
      },
    },
    'count',
    (answers) => ({
      least: 0,
      most: topOf(answers),
      away: { from: numberOf(answers, 'compare-rest'), by: 1, as: 'the one at rest' },
    }),
  ),
];

/** A divider must let the timer make the longest pulse. */
function divider(): Question {
  const plain = choiceOf(
    {
      name: 'prescaler',
      about: 'Board',
      asks: 'Divider from the clock to the timer',
      hint: 'The clock select bits that the program sets.',
      usual: (answers) => String(usualDivider(answers, PRESCALERS)),
    },
    DIVIDERS,
  );
  return {
    ...plain,
    read: (text, answers) => {
      const read = plain.read(text, answers);
      const able = dividersThatDo(answers, PRESCALERS).map(String);
      return 'says' in read || able.includes(read.answer as string)
        ? read
        : {
            says: `with it the timer cannot make a pulse of ${seconds(longestPulse(answers))}`,
            allowed: able.join(', '),
          };
    },
  };
}

const hasMotors = (answers: Answers): boolean => wordOf(answers, 'motors') === 'yes';

const vehicle: readonly Question[] = [
  choiceOf(
    {
      name: 'motors',
      about: 'Motors and vehicle',
      asks: 'Put motors and vehicle on the bench',
      hint: 'Without them the drive that is asked for is judged, and nothing turns.',
      usual: () => 'yes',
    },
    YES_NO,
  ),
  quantityOf(
    {
      name: 'motor-resistance',
      about: 'Motors and vehicle',
      asks: 'Resistance of the motor',
      hint: 'Its volts divided by its amperes with the shaft held and a small current; a multimeter reads too high below 1 ohm.',
      applies: hasMotors,
      usual: () => '100 mohm',
    },
    'resistance',
    { least: 5e-3, most: 20 },
  ),
  quantityOf(
    {
      name: 'motor-volts',
      about: 'Motors and vehicle',
      asks: 'Voltage on its label',
      hint: 'The one that its speed is given for.',
      applies: hasMotors,
      usual: (answers) => volts(chemistryOf(answers).nominalVolts * numberOf(answers, 'cells')),
    },
    'voltage',
    { least: 3, most: 200 },
  ),
  quantityOf(
    {
      name: 'motor-speed',
      about: 'Motors and vehicle',
      asks: 'Its speed without load at that voltage',
      hint: 'On its label or in its data sheet.',
      applies: hasMotors,
      usual: () => '2500 rpm',
    },
    'angular-speed',
    { least: (200 * 2 * Math.PI) / 60, most: (30000 * 2 * Math.PI) / 60 },
  ),
  quantityOf(
    {
      name: 'gear',
      about: 'Motors and vehicle',
      asks: 'Turns of the motor for one of the wheel',
      hint: 'Turn the wheel once by hand and count, or count teeth.',
      applies: hasMotors,
      usual: () => '20',
    },
    'ratio',
    { least: 0.5, most: 200 },
  ),
  quantityOf(
    {
      name: 'mass',
      about: 'Motors and vehicle',
      asks: 'Mass with rider and load',
      hint: 'On scales.',
      applies: hasMotors,
      usual: () => '100 kg',
    },
    'mass',
    { least: 5, most: 2000 },
  ),
  quantityOf(
    {
      name: 'wheel',
      about: 'Motors and vehicle',
      asks: 'Radius of the driven wheels',
      hint: 'From the ground to the middle of the axle.',
      applies: hasMotors,
      usual: () => '0.15 m',
    },
    'length',
    { least: 0.02, most: 1 },
  ),
];

const NAME: Question = {
  name: 'name',
  about: 'Vehicle',
  asks: 'What is it called',
  hint: 'A name for the bench, as it stands in every report.',
  usual: () => 'my vehicle',
  read: (text) => {
    const name = text.trim();
    // Control characters cannot stand in a bench file, and what is invisible helps nobody.
    return name.length >= 1 && name.length <= 60 && /^[^\p{C}\p{Zl}\p{Zp}]+$/u.test(name)
      ? { answer: name }
      : { says: 'this cannot be a name', allowed: '1 to 60 letters, digits, blanks and signs' };
  },
};

export const QUESTIONS: readonly Question[] = [NAME, ...battery, ...controllers, ...pedal, ...board, ...vehicle];
