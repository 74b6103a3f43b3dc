/** Shares as schedulers tell them, and a campaign at the command line: shares merged, an interrupt taken up again. */
import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { readShard, shardOf } from '../../sim/campaign/many/shard.ts';
import type { Surroundings } from '../../sim/cli/many.ts';
import { merge } from '../../sim/cli/merge.ts';
import { type SpreadFlags, spread } from '../../sim/cli/spread.ts';
import type { Streams } from '../../sim/cli/streams.ts';
import { folderThatArms } from './arming-folder.ts';

describe('many: shares', () => {
  test.each<[string, Record<string, string>, number, number]>([
    ['2/5', {}, 2, 5],
    // GitLab's `parallel` counts from 1.
    ['env', { CI_NODE_INDEX: '3', CI_NODE_TOTAL: '4' }, 3, 4],
    // `sbatch --array=0-4`, `--array=1-5`, and `--array=10-30:10`.
    [
      'env',
      { SLURM_ARRAY_TASK_ID: '0', SLURM_ARRAY_TASK_COUNT: '5', SLURM_ARRAY_TASK_MIN: '0', SLURM_ARRAY_TASK_STEP: '1' },
      1,
      5,
    ],
    [
      'env',
      { SLURM_ARRAY_TASK_ID: '5', SLURM_ARRAY_TASK_COUNT: '5', SLURM_ARRAY_TASK_MIN: '1', SLURM_ARRAY_TASK_STEP: '1' },
      5,
      5,
    ],
    [
      'env',
      {
        SLURM_ARRAY_TASK_ID: '30',
        SLURM_ARRAY_TASK_COUNT: '3',
        SLURM_ARRAY_TASK_MIN: '10',
        SLURM_ARRAY_TASK_STEP: '10',
      },
      3,
      3,
    ],
    // An indexed job of Kubernetes counts from 0 and is not told how many there are.
    ['env/8', { JOB_COMPLETION_INDEX: '7' }, 8, 8],
  ])('%s with %o', (text, environment, index, count) => {
    expect(readShard(text, environment)).toEqual({ shard: { index, count } });
  });

  test.each<[string, Record<string, string>, string]>([
    ['env', {}, 'none of'],
    ['env', { JOB_COMPLETION_INDEX: '2' }, 'write env/5'],
    ['0/5', {}, 'from 1'],
    ['6/5', {}, 'from 1'],
    ['half', {}, 'write 2/5'],
    ['env/2', { JOB_COMPLETION_INDEX: '2' }, 'from 1'],
  ])('%s with %o is refused', (text, environment, says) => {
    expect(JSON.stringify(readShard(text, environment))).toContain(says);
  });

  test('shares take each run exactly once', () => {
    const all = Array.from({ length: 23 }, (_, index) => index);
    const taken = [1, 2, 3, 4].flatMap((index) => shardOf(all, { index, count: 4 }));
    expect(taken.sort((a, b) => a - b)).toEqual(all);
  });
});

const folder = folderThatArms();
const inside = (name: string): string => join(folder, name);

interface Capture extends Streams {
  readonly texts: { out: string; err: string; status: string[] };
}

function capture(): Capture {
  const texts = { out: '', err: '', status: [] as string[] };
  return {
    texts,
    out: (text) => {
      texts.out += text;
    },
    err: (text) => {
      texts.err += text;
    },
    status: (line) => {
      texts.status.push(line);
    },
    isColoured: false,
    columns: undefined,
  };
}

const quiet: Surroundings = { env: {}, clock: () => 0, onInterrupt: () => () => undefined };
const call = async (flags: SpreadFlags, surroundings = quiet): Promise<{ status: number; texts: Capture['texts'] }> => {
  const streams = capture();
  const status = await spread(inside('arms.yaml'), { workers: '1', draws: '60', ...flags }, streams, surroundings);
  return { status, texts: streams.texts };
};

describe('many: at the command line', () => {
  test.each(['text', 'json', 'junit'])('shares put together print, as %s, what the whole prints', async (format) => {
    const whole = await call({ format });
    const files: string[] = [];
    for (const index of [1, 2, 3]) {
      const part = inside(`${format}-${index}.json`);
      const share = await call({ format, shard: `${index}/3`, part });
      expect(share).toMatchObject({ status: 0, texts: { out: '' } });
      files.push(part);
    }
    const streams = capture();
    expect(await merge(files.reverse(), { format }, streams)).toBe(whole.status);
    expect(streams.texts.out).toBe(whole.texts.out);
    expect(whole.status).toBe(1);
  });

  const hasXmllint = spawnSync('xmllint', ['--version']).error === undefined;
  test.runIf(hasXmllint).each(['ant', 'ci-server'])('junit is valid by the schema of %s', async (schema) => {
    const file = inside('spread.xml');
    const { texts } = await call({ format: 'junit' });
    expect(texts.out).toContain('failures="1"');
    writeFileSync(file, texts.out);
    const xsd = `test/report/schema/${schema}.xsd`;
    const { stderr } = spawnSync('xmllint', ['--noout', '--schema', xsd, file], { encoding: 'utf8' });
    expect(stderr).toBe(`${file} validates\n`);
  });

  test('a share that is missing is told, and nothing is printed', async () => {
    const part = inside('alone.json');
    await call({ shard: '1/3', part });
    const streams = capture();
    expect(await merge([part], {}, streams)).toBe(2);
    expect(streams.texts.err).toContain('40 of 60 runs are missing');
    expect(streams.texts.out).toBe('');
  });

  test('an interrupt keeps what is done and says so; --part takes it up again to the same bytes', async () => {
    const part = inside('broken-off.json');
    let interrupt = (): void => undefined;
    const surroundings: Surroundings = {
      ...quiet,
      onInterrupt: (heard) => {
        interrupt = heard;
        return () => undefined;
      },
    };
    const streams = capture();
    const watched: Capture = {
      ...streams,
      // The first bundle has been done when the first progress is told.
      status: (line) => {
        if (/^\d+ of 60.*: spread of arms$/.test(line)) interrupt();
      },
    };
    const flags: SpreadFlags = { workers: '1', draws: '60', part };
    expect(await spread(inside('arms.yaml'), flags, watched, surroundings)).toBe(130);
    expect(streams.texts.err).toMatch(/broken off after \d+ of 60 runs; --part .*broken-off\.json takes it up again/);
    const kept = JSON.parse(readFileSync(part, 'utf8')) as { rows: unknown[] };
    expect(kept.rows.length).toBeGreaterThan(0);
    expect(kept.rows.length).toBeLessThan(60);
    const resumed = await call({ part });
    expect(resumed.texts.out).toBe((await call({})).texts.out);
    expect(existsSync(`${part}.unfinished`)).toBe(false);
  });

  test('a part of another campaign, or of files that have changed, is refused', async () => {
    const part = inside('other.json');
    await call({ shard: '1/2', part });
    const other = await call({ draws: '61', part });
    expect(other.status).toBe(2);
    expect(other.texts.err).toContain('another campaign');
    const text = readFileSync(part, 'utf8');
    writeFileSync(part, text.replace(/"fingerprint":"..../, '"fingerprint":"0000'));
    expect((await call({ shard: '1/2', part })).texts.err).toContain('have changed');
  });

  test.each<[SpreadFlags, string]>([
    [{ draws: '0' }, '--draws'],
    [{ workers: 'many' }, '--workers'],
    [{ enough: '5 V' }, '--enough'],
    [{ enough: '2 %', shard: '1/2' }, 'leave out one of the two'],
    [{ shard: '3/2' }, 'numbered from 1'],
  ])('%o is refused', async (flags, says) => {
    const { status, texts } = await call(flags);
    expect(status).toBe(2);
    expect(texts.err).toContain(says);
  });

  test('draws written as scenarios into a folder that is not there is told, not thrown', async () => {
    const { status, texts } = await call({ write: inside('nowhere/worst.yaml') });
    expect(status).toBe(2);
    expect(texts.err).toContain('cannot be written (ENOENT)');
  });
});
