/**
 * What somebody waits who calls the built program once: one scenario, from nothing to its verdict. The mark to hold is
 * 300 ms. Beside it the start of Node alone, and of the program without a run.
 */
import { execFileSync } from 'node:child_process';
import { bench, describe } from 'vitest';

// Measured is what would be shipped, not what lay about from an earlier build.
execFileSync('npx', ['tsx', 'esbuild.config.ts'], { stdio: 'ignore' });

const started = (...args: string[]) => {
  const out = execFileSync(process.execPath, args, { encoding: 'utf8' });
  if (out === '') throw new Error('it said nothing');
};
const options = { time: 4000, warmupIterations: 3, iterations: 10 };

describe('cold start, a process each', () => {
  bench('node alone', () => started('-p', '0'), options);
  bench('jackstand --version', () => started('dist/cli.js', '--version'), options);
  bench(
    'jackstand run, one scenario',
    () => started('dist/cli.js', 'run', 'scenarios/orchard-cart/cold-start.yaml'),
    options,
  );
});
