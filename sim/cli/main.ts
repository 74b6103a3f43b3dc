#!/usr/bin/env node
/** The command line: one file a command, each loaded only when it is called. */
import { Command, CommanderError, Option } from 'commander';
import { Exit } from './exit.ts';
import type { Streams } from './streams.ts';
import { TOOL_VERSION } from './version.ts';

const streams: Streams = {
  out: (text) => void process.stdout.write(text),
  err: (text) => void process.stderr.write(text),
  isColoured: process.stdout.isTTY === true && process.env.NO_COLOR === undefined && process.env.TERM !== 'dumb',
  columns: process.stdout.isTTY === true ? process.stdout.columns : undefined,
};

// A reader that has seen enough (`| head`) is no fault of ours.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code === 'EPIPE') process.exit(Exit.holds);
  throw error;
});

const program = new Command('jackstand')
  .description(
    "A virtual bench for small electric vehicles' throttle electronics.\nIt can say that a design fails; it cannot prove one safe.",
  )
  .version(TOOL_VERSION)
  .showSuggestionAfterError()
  .showHelpAfterError('(jackstand --help lists the commands)')
  .exitOverride()
  .configureOutput({ writeOut: streams.out, writeErr: streams.err })
  .addHelpText(
    'after',
    '\nExit status: 0 all hold, 1 an expectation failed, 2 bad input or usage, 3 a fault of the tool itself.\nSet NO_COLOR to switch colours off.',
  );

program
  .command('run')
  .description('run scenarios and say of each what holds, by what margin, and why not')
  .argument('[paths...]', 'scenario files, folders or glob patterns', ['scenarios'])
  .addOption(
    new Option('-f, --format <format>', 'what is written to standard output').choices(['text', 'json']).default('text'),
  )
  .option(
    '--trace <file>',
    'write the recorded signals to FILE, as .csv or .vcd; with several scenarios, one file each',
  )
  .option(
    '--signals <names>',
    'signals to record beside those that expectations read, separated by commas, or `all` (the default with --trace)',
  )
  .addHelpText(
    'after',
    '\nExamples:\n  jackstand run scenarios/orchard-cart\n  jackstand run cold-start.yaml --trace cold-start.vcd\n  jackstand run "scenarios/**/*.yaml" --format json',
  )
  .action(async (paths: string[], options: Record<string, string>) => {
    const { run } = await import('./run.ts');
    process.exitCode = await run(paths, options, streams);
  });

program
  .command('check')
  .description('check bench and scenario files without running them')
  .argument('<paths...>', 'files, folders or glob patterns')
  .option('--signals', 'list the signals of each bench, with unit and meaning')
  .action(async (paths: string[], options: { signals?: boolean }) => {
    const { check } = await import('./check.ts');
    process.exitCode = await check(paths, options, streams);
  });

program
  .command('schema')
  .description('print a JSON Schema, for editors and for programs')
  .addArgument(program.createArgument('<of>', 'which one').choices(['bench', 'scenario', 'result']))
  .action(async (of: string) => {
    const { schema } = await import('./schema.ts');
    process.exitCode = schema(of, streams);
  });

try {
  if (process.argv.length <= 2) program.help();
  await program.parseAsync();
} catch (error) {
  process.exitCode = statusOf(error);
}

function statusOf(error: unknown): number {
  // Commander has already written its message; help and version end with status 0.
  if (error instanceof CommanderError) return error.exitCode === 0 ? Exit.holds : Exit.badInput;
  const { message, stack } = error instanceof Error ? error : new Error(String(error));
  streams.err(`jackstand: a fault of the tool itself, please report it: ${message}\n`);
  if (process.env.JACKSTAND_DEBUG !== undefined) streams.err(`${stack}\n`);
  return Exit.broken;
}
