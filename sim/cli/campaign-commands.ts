/** The commands that make many runs, with the options they share. */
import { type Command, Option } from 'commander';
import type { Streams } from './streams.ts';

export function addCampaignCommands(program: Command, streams: Streams, done: (status: number) => void): void {
  shared(
    program
      .command('spread')
      .description('draw every toleranced value many times: how often the scenario holds, and which tolerance decides')
      .argument('<file>', 'a scenario; its section `spread` may set draws, law and sampling')
      .option('-n, --draws <count>', 'how many draws (500 unless the file says otherwise)')
      .addOption(
        new Option('--law <law>', 'how a value lies in its tolerance').choices(['uniform', 'normal', 'corners']),
      )
      .addOption(new Option('--sampling <sampling>', 'how draws are spread').choices(['latin', 'random']))
      .option('--seed <seed>', "seed of the draws (the scenario's own unless given)")
      .option('--enough <share>', 'stop once the pass rate is known to within this, such as `2 %`')
      .option('--least <share>', 'pass rate that is asked for (100 % unless given)')
      .option('--write <file>', 'write the draw nearest to failing, or the failing ones, as scenarios'),
  ).action(async (file: string, options: Record<string, string>) => {
    const { spread } = await import('./spread.ts');
    const { processSurroundings } = await import('./many.ts');
    done(await spread(file, options, streams, processSurroundings(process)));
  });

  shared(
    program
      .command('faults')
      .description('every fault of every part at the instants that matter: what the vehicle did, the worst first')
      .argument('[paths...]', 'scenario files, folders or glob patterns', ['scenarios'])
      .option('--pairs', 'also two faults of different parts at once')
      .option('--brief <time>', 'how long a passing fault lasts (200 ms unless given)')
      .option('--against <file>', 'a table saved with --format json: only what got worse since then fails'),
  ).action(async (paths: string[], options: Record<string, string>) => {
    const { faults } = await import('./faults.ts');
    const { processSurroundings } = await import('./many.ts');
    done(await faults(paths, options, streams, processSurroundings(process)));
  });

  shared(
    program
      .command('hunt')
      .description('search for a stimulus that breaks an expectation, and shrink it to a small scenario')
      .argument(
        '<file>',
        'a scenario, whose expectations are hunted; or a bench: then, that nothing drives with the foot off',
      )
      .option('-n, --runs <count>', 'how many runs it may take (2000 unless given)')
      .option('--seed <seed>', 'seed of the search (1 unless given)')
      .option('--no-faults', 'hands and feet only')
      .option('--no-steps', "leave out what the scenario's script does")
      .option('--default', "hunt that nothing drives with the foot off instead of the scenario's own expectations")
      .option('--line <number>', 'hunt only the expectation on this line of the scenario')
      .option('--duration <time>', "length of each run (the scenario's, or 10 s)")
      .option('--write <file>', 'write what was found as a scenario'),
  ).action(async (file: string, options: Record<string, string>) => {
    const { hunt } = await import('./hunt.ts');
    const { processSurroundings } = await import('./many.ts');
    done(await hunt(file, options, streams, processSurroundings(process)));
  });

  formatted(
    program
      .command('merge')
      .description('put the shares of a campaign together: prints what the whole would have printed')
      .argument('<files...>', 'what the shares wrote')
      .option('--least <share>', 'of a spread: pass rate that is asked for (100 % unless given)')
      .option('--against <file>', 'of a fault table: a saved one; only what got worse since then fails')
      .option('--write <file>', 'write what was found as scenarios, as the campaign itself would'),
  ).action(async (files: string[], options: Record<string, string>) => {
    const { merge } = await import('./merge.ts');
    done(await merge(files, options, streams));
  });
}

function formatted(command: Command): Command {
  return command.addOption(
    new Option('-f, --format <format>', 'what is written to standard output')
      .choices(['text', 'json', 'junit'])
      .default('text'),
  );
}

/** What all of them take. */
function shared(command: Command): Command {
  return formatted(command)
    .option('--workers <count>', 'threads (one for each core unless given); the result does not depend on them')
    .option(
      '--shard <share>',
      'only this share of the runs, such as 2/5; `env` reads it from CI_NODE_INDEX, SLURM_ARRAY_TASK_ID or JOB_COMPLETION_INDEX, `env/5` where their count is not set',
    )
    .option('--part <file>', 'keep finished runs in this file: a share for `merge`, or to go on after an interrupt');
}
