/** Campaigns handed to engines that run many machines: what comes out is, to the byte, what one process prints. */
import { spawnSync } from 'node:child_process';
import { chmodSync, readdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { folderThatArms } from '../arming-folder.ts';

const has = (program: string): boolean => spawnSync('sh', ['-c', `command -v ${program}`]).status === 0;
const hasParallel = has('parallel');
if (!hasParallel) process.stderr.write('cluster: not run under GNU parallel (Debian: parallel), which is not here\n');
// The daemons of a cluster want to be started by root.
const hasSlurm = ['slurmctld', 'slurmd', 'sbatch', 'munged'].every(has) && process.getuid?.() === 0;
if (!hasSlurm) process.stderr.write('cluster: no Slurm array (Debian: slurm-wlm munge, as root), which is not here\n');

const folder = folderThatArms();
// The daemon that signs messages has a user of its own, who must get in.
chmodSync(folder, 0o755);
const inside = (name: string): string => join(folder, name);
const program = [process.execPath, resolve('node_modules/tsx/dist/cli.mjs'), resolve('sim/cli/main.ts')];
const examples = resolve('scenarios/examples/many');

function run(command: readonly string[]): { status: number | null; out: string; err: string } {
  const [name, ...rest] = command as [string, ...string[]];
  const env = { ...process.env, JACKSTAND: program.join(' '), NO_COLOR: '1' };
  const { status, stdout, stderr } = spawnSync(name, rest, { encoding: 'utf8', env, cwd: folder, timeout: 150_000 });
  return { status, out: stdout, err: stderr };
}

const campaigns: readonly [string, ...string[]][] = [
  ['spread', inside('arms.yaml'), '--draws', '41'],
  ['faults', inside('arms.yaml')],
  ['hunt', inside('arms.yaml'), '--runs', '500', '--default', '--no-faults'],
];

describe.runIf(hasParallel)('cluster: GNU parallel', () => {
  test.each(campaigns)(
    '%s in three shares prints what it prints in one piece',
    (...campaign) => {
      const whole = run([...program, ...campaign, '--workers', '1']);
      expect(whole.out).not.toBe('');
      const parts = inside(`parallel-${campaign[0]}`);
      const shared = run([join(examples, 'with-parallel.sh'), '3', parts, ...campaign]);
      expect(shared.err).toContain('share 3 of 3');
      expect(readdirSync(parts)).toHaveLength(3);
      expect(shared.out).toBe(whole.out);
      expect(shared.status).toBe(whole.status);
    },
    120_000,
  );
});

describe.runIf(hasSlurm)('cluster: a Slurm array on one node', () => {
  test('in three tasks prints what it prints in one piece', () => {
    const campaign = campaigns[0]!;
    const whole = run([...program, ...campaign, '--workers', '1']);
    const slurm = resolve('test/campaign/cluster/one-node-slurm.sh');
    const parts = inside('slurm-parts');
    const shared = run([slurm, inside('slurm'), join(examples, 'with-slurm.sh'), '3', parts, ...campaign]);
    expect(shared.out, shared.err).toBe(whole.out);
    expect(shared.status).toBe(whole.status);
    // Each task was one of the array, and said so.
    expect(readdirSync(parts).filter((name) => name.endsWith('.log'))).toHaveLength(3);
  }, 200_000);
});
