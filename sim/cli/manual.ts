/** What the help of each command says after its options: what else to know, examples, exit statuses, files, environment. */
import type { Command } from 'commander';
import { wrapped } from './wrap.ts';

export interface Manual {
  readonly about?: string;
  readonly examples: readonly string[];
  /** By status: what it means here. Those that all commands share are added. */
  readonly statuses: Readonly<Record<string, string>>;
  readonly files?: string;
  /** By name of the variable. */
  readonly environment?: Readonly<Record<string, string>>;
}

const HELP_COLUMNS = 80;
const interrupted = { 130: 'ended by Ctrl-C; what was found so far was shown' };
const benchFiles = 'A bench is a YAML file with the key `bench`; jackstand schema bench describes it.';
const scenarioFiles =
  'A scenario is a YAML file with the key `scenario`; it names its bench, by a path from its own folder. A folder stands for all that is in it, `node_modules` left out.';
const shards = {
  'CI_NODE_INDEX, CI_NODE_TOTAL':
    'which share `--shard env` runs, of how many; likewise SLURM_ARRAY_TASK_ID and JOB_COMPLETION_INDEX',
};

/** Every command has one; a test holds that, and that each example can be called. */
export const manuals: Readonly<Record<string, Manual>> = {
  run: {
    examples: [
      'jackstand run scenarios/orchard-cart',
      'jackstand run --suite first-power bench.yaml',
      'jackstand run cold-start.yaml --trace cold-start.vcd',
      'jackstand run module-script-cold-start.yaml --serial printed.log',
      'jackstand run "scenarios/**/*.yaml" --format junit > verdicts.xml',
      'jackstand run --format github --summary "$GITHUB_STEP_SUMMARY"',
    ],
    statuses: { 0: 'all hold', 1: 'an expectation failed, or one stated to fail did not' },
    files: `${scenarioFiles} What --report, --trace, --serial, --eeprom and --summary name is written whole or not at all.`,
    environment: { GITHUB_STEP_SUMMARY: 'the file that --summary appends to; any other is written anew' },
  },
  check: {
    examples: ['jackstand check scenarios', 'jackstand check bench.yaml --signals'],
    statuses: { 0: 'nothing is wrong; warnings may have been told' },
    files: `${benchFiles} ${scenarioFiles}`,
  },
  why: {
    examples: [
      'jackstand why scenarios/orchard-cart/idle-one-too-high.yaml',
      'jackstand why cold-start.yaml --only board.firmware',
    ],
    statuses: { 0: 'the scenario holds', 1: 'it does not', ...interrupted },
    files: scenarioFiles,
  },
  tune: {
    examples: [
      'jackstand tune scenarios/orchard-cart/bench.yaml',
      'jackstand tune bench.yaml --row 3 --write tuned.yaml',
    ],
    statuses: { 0: 'a setting fits', 1: 'none does', ...interrupted },
    files: benchFiles,
  },
  spread: {
    examples: [
      'jackstand spread cold-start.yaml',
      'jackstand spread cold-start.yaml --law corners --write worst.yaml',
      'jackstand spread cold-start.yaml -n 20000 --shard 2/5',
    ],
    statuses: { 0: 'the pass rate is what is asked for', 1: 'it is not', ...interrupted },
    files: scenarioFiles,
    environment: shards,
  },
  faults: {
    about: "How bad an outcome is stands in the bench's section `severity`; without it the usual ranks hold.",
    examples: [
      'jackstand faults scenarios/orchard-cart',
      'jackstand faults scenarios/orchard-cart --format json > faults.json',
      'jackstand faults scenarios/orchard-cart --against faults.json',
    ],
    statuses: { 0: 'no outcome fails', 1: 'one does, or with --against got worse', ...interrupted },
    files: scenarioFiles,
    environment: shards,
  },
  hunt: {
    about: 'Finding nothing proves nothing.',
    examples: [
      'jackstand hunt bench.yaml',
      'jackstand hunt cold-start.yaml --no-faults --write found.yaml',
      'jackstand hunt cold-start.yaml --runs 20000 --seed 2',
    ],
    statuses: { 0: 'nothing was found', 1: 'something was found', ...interrupted },
    files: `${scenarioFiles} ${benchFiles}`,
    environment: shards,
  },
  merge: {
    examples: [
      'jackstand merge share-1.json share-2.json share-3.json',
      'jackstand merge shares/spread-1.json shares/spread-2.json --least "99 %"',
    ],
    statuses: { 0: 'the whole is as asked for', 1: 'it is not' },
    files: 'The files are what spread, faults and hunt kept with --shard and --part.',
  },
  charts: {
    examples: [
      'jackstand charts scenarios/orchard-cart > charts.md',
      'jackstand charts scenarios/orchard-cart --format svg --into charts',
      'jackstand charts bench.yaml --part left --format scxml > left.scxml',
    ],
    statuses: { 0: 'they are drawn' },
    files: `${benchFiles} ${scenarioFiles}`,
  },
  measure: {
    examples: ['jackstand measure receiver.csv', 'jackstand measure pedal-counts.log --format json'],
    statuses: { 0: 'the capture was read' },
    files:
      'CSV with a column of time and columns of levels or volts, a VCD (IEEE 1364), or a log with one count a line; at most 256 MiB.',
  },
  schema: {
    about:
      'For an editor with a YAML language server, as the first line of a bench: # yaml-language-server: $schema=./bench.schema.json',
    examples: [
      'jackstand schema bench > bench.schema.json',
      'jackstand schema scenario > scenario.schema.json',
      'jackstand schema result > result.schema.json',
    ],
    statuses: { 0: 'the schema is printed' },
  },
  show: {
    about: 'Without a terminal it prints the last frame, or the one at --at, as text. The key ? lists all keys.',
    examples: [
      'jackstand show scenarios/orchard-cart/cold-start.yaml',
      'jackstand show cold-start.yaml --at "0.31 s" > frame.txt',
    ],
    statuses: { 0: 'it was shown' },
    files: scenarioFiles,
    environment: {
      'LC_ALL, LC_CTYPE, LANG': 'whether the terminal promises UTF-8; --ascii is taken where it does not',
    },
  },
  drive: {
    about: 'What was done can be saved as a scenario that replays to the same digest. The key ? lists all keys.',
    examples: ['jackstand drive bench.yaml', 'jackstand drive cold-start.yaml --ascii'],
    statuses: { 0: 'you left it' },
    files: `${benchFiles} ${scenarioFiles}`,
    environment: {
      'LC_ALL, LC_CTYPE, LANG': 'whether the terminal promises UTF-8; --ascii is taken where it does not',
    },
  },
  new: {
    about:
      'Without a terminal every answer must come as a flag, or --usual says that usual values may stand for the others.',
    examples: ['jackstand new', 'jackstand new bench --usual --neutral "1520 us"'],
    statuses: {
      0: 'all that was written holds',
      1: 'some of it fails',
      130: 'left before anything was written',
    },
    files: 'Writes bench.yaml and scenarios into the folder. Nothing there is overwritten.',
  },
  completion: {
    about:
      'Commands, options, their choices and file names are then completed. The script stands alone, so make it anew after an update.',
    examples: [
      'jackstand completion bash > ~/.jackstand-completion.bash',
      'jackstand completion zsh > ~/.zsh/completions/_jackstand',
      'jackstand completion fish > ~/.config/fish/completions/jackstand.fish',
    ],
    statuses: { 0: 'the script is printed' },
    files:
      'For bash, `source` the file in ~/.bashrc. For zsh, the folder must be in $fpath before compinit is called. fish finds it by itself.',
  },
};

const shared = { 2: 'bad input or usage; nothing was run', 3: 'a fault of the tool itself; please report it' };
const sharedEnvironment = {
  NO_COLOR: 'if set, no colours; they never say anything alone',
  JACKSTAND_DEBUG: 'if set, a fault of the tool itself prints where it happened',
};

/** Puts its manual under the help of every command. */
export function addManuals(program: Command): void {
  for (const command of program.commands) {
    const manual = manuals[command.name()];
    if (manual !== undefined) command.addHelpText('after', () => manualText(manual));
  }
}

/** At most 80 columns wide; examples stay as they are. */
export function manualText({ about, examples, statuses, files, environment }: Manual): string {
  return [
    ...(about === undefined ? [] : ['', ...wrapped(about, '', HELP_COLUMNS)]),
    '',
    'Examples:',
    ...examples.map((example) => `  ${example}`),
    '',
    'Exit status:',
    ...table({ ...statuses, ...shared }),
    ...(files === undefined ? [] : ['', 'Files:', ...wrapped(files, '  ', HELP_COLUMNS)]),
    '',
    'Environment:',
    ...table({ ...environment, ...sharedEnvironment }),
  ].join('\n');
}

function table(rows: Readonly<Record<string, string>>): string[] {
  const widest = Math.max(...Object.keys(rows).map((name) => name.length));
  return Object.entries(rows).flatMap(([name, means]) => wrapped(means, `  ${name.padEnd(widest)}  `, HELP_COLUMNS));
}
