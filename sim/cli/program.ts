/** The command line: its commands, their options, and what a mistake in calling them costs. One file a command, each loaded only when it is called. */
import { Command, CommanderError, Option } from 'commander';
import { printable } from '../bench/print.ts';
import { addCampaignCommands } from './campaign-commands.ts';
import { Exit } from './exit.ts';
import { addManuals } from './manual.ts';
import { addNewCommand } from './new-command.ts';
import { RUN_FORMATS } from './run-format-names.ts';
import { SHELLS } from './shell-names.ts';
import type { Streams } from './streams.ts';
import { TOOL_VERSION } from './version.ts';

/** Runs the command that `args` (without the program's own name) call, and gives the exit status. Never throws. */
export async function jackstand(args: readonly string[], streams: Streams): Promise<number> {
  let status: number = Exit.holds;
  const program = programOf(streams, (of) => {
    status = of;
  });
  try {
    // A call that runs nothing must not look like one in which all holds.
    if (args.length === 0) program.help({ error: true });
    await program.parseAsync(args, { from: 'user' });
    return status;
  } catch (error) {
    return statusOf(error, streams);
  }
}

function programOf(streams: Streams, done: (status: number) => void): Command {
  const program = new Command('jackstand')
    .description(
      "A virtual bench for small electric vehicles' throttle electronics.\nIt can say that a design fails; it cannot prove one safe.",
    )
    .version(TOOL_VERSION, '-V, --version', 'print the version')
    .helpOption('-h, --help', 'print this help')
    .helpCommand('help [command]', 'print the help of a command')
    .showSuggestionAfterError()
    .showHelpAfterError('(add --help to see what is possible)')
    .exitOverride()
    .configureOutput({
      writeOut: streams.out,
      writeErr: streams.err,
      outputError: (text, write) => write(text.replace(/^error: (command-argument value )?/, 'jackstand: ')),
      getOutHelpWidth: () => streams.columns ?? 80,
      getErrHelpWidth: () => streams.columns ?? 80,
    })
    .addHelpText(
      'after',
      '\nExit status: 0 all hold, 1 an expectation failed, 2 bad input or usage, 3 a fault of the tool itself.\nSet NO_COLOR to switch colours off.',
    );

  program
    .command('run')
    .description('run scenarios and say of each what holds, by what margin, and why not')
    .argument('[paths...]', 'scenario files, folders or glob patterns', ['scenarios'])
    .addOption(
      new Option('-f, --format <format>', 'what is written to standard output').choices(RUN_FORMATS).default('text'),
    )
    .option('--report <file>', 'write one HTML page with verdicts, causes and plots to FILE')
    .option('--summary <file>', 'write the verdicts to FILE as a Markdown page; appends to $GITHUB_STEP_SUMMARY')
    .option('--watch', 'run again whenever a scenario or a bench is saved; Ctrl-C ends it')
    .option(
      '--trace <file>',
      'write the recorded signals to FILE, as .csv or .vcd; with several scenarios, one file each',
    )
    .option(
      '--signals <names>',
      'what --trace writes and --report plots beside the signals that expectations read: names separated by commas, or all',
    )
    .option(
      '--serial <file>',
      'write what the program sends over its serial port to FILE, byte for byte; with several scenarios, one file each; - for standard output, and the results then go to standard error',
    )
    .option(
      '--eeprom <file>',
      'write what then stands in the EEPROM to FILE, an Intel HEX file (.eep) that `eeprom` of a compiled image takes; with several scenarios, one file each',
    )
    .option('--against <capture>', 'hold a recorded pulse train against the simulated one, and say where they part')
    .option('--signal <name>', "with --against: which signal; the first controller's pulse line unless given")
    .option('--column <name>', 'with --against: which column of the capture')
    .addOption(
      new Option(
        '--align <how>',
        'with --against: how they are laid over each other (best-shift unless given)',
      ).choices(['best-shift', 'first-edge', 'none']),
    )
    .option('--tolerance <time>', 'with --against: largest difference of a width or a period (10 us unless given)')
    .option(
      '--suite <name>',
      'run a shipped suite (first-power, control-failure), or a suite file, on the benches given instead of scenarios',
    )
    .action(async (paths: string[], options: Record<string, string>) => {
      const { run } = await import('./run.ts');
      done(await run(paths, options, streams));
    });

  program
    .command('check')
    .description('check bench and scenario files without running them')
    .argument('<paths...>', 'files, folders or glob patterns')
    .option('--signals', 'list the signals of each bench, with unit and meaning')
    .action(async (paths: string[], options: { signals?: boolean }) => {
      const { check } = await import('./check.ts');
      done(await check(paths, options, streams));
    });

  program
    .command('why')
    .description(
      'say why a scenario ended as it did, how near it was to ending otherwise, and which single changes would turn it',
    )
    .argument('<file>', 'scenario file')
    .addOption(
      new Option('-f, --format <format>', 'what is written to standard output')
        .choices(['text', 'json'])
        .default('text'),
    )
    .option('--only <path>', 'search only below this path of the bench, such as board.firmware')
    .action(async (path: string, options: Record<string, string>) => {
      const { why } = await import('./why.ts');
      done(await why(path, options, streams));
    });

  program
    .command('tune')
    .description('find timer settings and mapping constants that arm and drive with the widest worst-case margin')
    .argument('<bench>', 'bench file')
    .addOption(
      new Option('-f, --format <format>', 'what is written to standard output')
        .choices(['text', 'json'])
        .default('text'),
    )
    .option('--row <number>', 'which row of the table is told in full, and written', '1')
    .option('--all', 'list all that fits')
    .option('--write <file>', 'write that row to FILE, as a scenario that jackstand run can try')
    .action(async (path: string, options: Record<string, string>) => {
      const { tune } = await import('./tune.ts');
      done(await tune(path, options, streams));
    });

  addCampaignCommands(program, streams, done);

  program
    .command('charts')
    .description('draw the statechart of each part of a bench; of scenarios, with how often each transition was taken')
    .argument('<paths...>', 'bench or scenario files, folders or glob patterns')
    .addOption(
      new Option('-f, --format <format>', 'mermaid (in a Markdown page), svg (a picture) or scxml (the W3C standard)')
        .choices(['mermaid', 'svg', 'scxml'])
        .default('mermaid'),
    )
    .option('--part <name>', 'only the chart of this part')
    .option('--into <folder>', 'write a file for each chart into FOLDER')
    .action(async (paths: string[], options: Record<string, string>) => {
      const { charts } = await import('./charts.ts');
      done(await charts(paths, options, streams));
    });

  program
    .command('measure')
    .description('measure a capture of real signals: pulses with their jitter and gaps, or rest, full and noise')
    .argument('<capture>', 'CSV of a logic analyser or an oscilloscope, VCD, or a serial log of counts')
    .addOption(
      new Option('-f, --format <format>', 'what is written to standard output')
        .choices(['text', 'json'])
        .default('text'),
    )
    .action(async (file: string, options: Record<string, string>) => {
      const { measure } = await import('./measure.ts');
      done(await measure(file, options, streams));
    });

  addNewCommand(program, streams, done);

  program
    .command('schema')
    .description('print a JSON Schema, for editors and for programs')
    .addArgument(program.createArgument('<of>', 'which one').choices(['bench', 'scenario', 'result']))
    .action(async (of: string) => {
      const { schema } = await import('./schema.ts');
      done(schema(of, streams));
    });

  program
    .command('show')
    .description('play a scenario on a dashboard: forth, back, slowed down, with its causes')
    .argument('<scenarios...>', 'scenario files; with several, a key switches between them')
    .option('--at <instant>', 'stand paused at this instant, such as `0.31 s`')
    .option('--ascii', 'draw with ASCII characters only (done by itself where the terminal promises no UTF-8)')
    .action(async (files: string[], options: { at?: string; ascii?: boolean }) => {
      const { show } = await import('./show.ts');
      done(await show(files, options, streams, process));
    });

  program
    .command('drive')
    .description('drive a bench by hand: the keyboard is pedal, selector, switch and pliers')
    .argument('<file>', 'a bench; or a scenario, whose expectations are then watched while you drive')
    .option('--ascii', 'draw with ASCII characters only (done by itself where the terminal promises no UTF-8)')
    .action(async (file: string, options: { ascii?: boolean }) => {
      const { drive } = await import('./drive.ts');
      done(await drive(file, options, streams, process));
    });

  program
    .command('completion')
    .description('print a script that completes commands, options and files in a shell')
    .addArgument(program.createArgument('<shell>', 'which one').choices(SHELLS))
    .action(async (shell: string) => {
      const { completion } = await import('./completion.ts');
      done(completion(shell, program, streams));
    });

  addManuals(program);
  return program;
}

/** The last resort: what reaches this is a call that makes no sense, or a fault of the tool itself. */
export function statusOf(error: unknown, streams: Streams): number {
  // Commander has already written its message; help and version end with status 0.
  if (error instanceof CommanderError) return error.exitCode === 0 ? Exit.holds : Exit.badInput;
  const { message, stack } = error instanceof Error ? error : new Error(String(error));
  streams.err(`jackstand: a fault of the tool itself, please report it: ${printable(message)}\n`);
  if (process.env.JACKSTAND_DEBUG !== undefined) streams.err(`${stack}\n`);
  return Exit.broken;
}
