/**
 * What a search costs who calls the built program: processor seconds of all its threads, which is what one core would take,
 * and the runs that were made. Figures to hold: `why` on the shipped refusal over all parameters under 2 s, `tune` over
 * a full board under 5 s.
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { bench, describe } from 'vitest';

// Measured is what would be shipped, not what lay about from an earlier build.
execFileSync('npx', ['tsx', 'esbuild.config.ts'], { stdio: 'ignore' });

/** Prints what the process and all its threads took, last thing. */
const PRELUDE = `data:text/javascript,process.on('exit', () => {
  const { user, system } = process.cpuUsage();
  process.stderr.write('\\nCPU ' + (user + system) / 1e6);
})`;

function measured(args: readonly string[], countOf: (printed: string) => string) {
  const seconds: number[] = [];
  let counted = '';
  const run = (): void => {
    const { stdout, stderr } = spawnSync(process.execPath, ['--import', PRELUDE, 'dist/cli.js', ...args], {
      encoding: 'utf8',
    });
    seconds.push(Number(/CPU ([\d.]+)$/.exec(stderr)![1]));
    counted = countOf(stdout);
  };
  const teardown = (_: unknown, mode?: string): void => {
    if (mode === 'warmup') return;
    const [least, most] = [Math.min(...seconds), Math.max(...seconds)].map((value) => value.toFixed(2));
    process.stdout.write(`jackstand ${args.join(' ')}: ${least} to ${most} s of processor time, ${counted}\n`);
  };
  return [run, { iterations: 5, time: 0, warmupIterations: 0, warmupTime: 0, teardown }] as const;
}

describe('searches, a process each', () => {
  bench(
    'why: the shipped refusal, every number and choice',
    ...measured(
      ['why', 'scenarios/orchard-cart/idle-one-too-high.yaml'],
      (printed) => /(\d+ runs)\.$/m.exec(printed)![1]!,
    ),
  );
  bench(
    'tune: every timer, mode and divider, three of them tried',
    ...measured(['tune', 'scenarios/orchard-cart/bench.yaml'], (printed) => /^\d+ timer settings/.exec(printed)![0]),
  );
});
