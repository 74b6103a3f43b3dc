/** A share of a campaign: every n-th run from a first one on, so that all shares cost about the same. */

export interface Shard {
  /** From 1. */
  readonly index: number;
  readonly count: number;
}

export function shardOf(indices: readonly number[], shard: Shard | undefined): readonly number[] {
  return shard === undefined ? indices : indices.filter((index) => index % shard.count === shard.index - 1);
}

export type ShardRead = { readonly shard: Shard } | { readonly mistake: string };

/**
 * `2/5`; or `env`, which looks for the variables that schedulers set; or `env/5` where the scheduler tells the job its
 * number but not how many there are.
 */
export function readShard(text: string, environment: Readonly<Record<string, string | undefined>>): ShardRead {
  const plain = /^(\d{1,6})\/(\d{1,6})$/.exec(text);
  if (plain !== null) return checked(Number(plain[1]), Number(plain[2]), text);
  const asked = /^env(?:\/(\d{1,6}))?$/.exec(text);
  if (asked === null) return { mistake: `${text} is no share of a campaign; write 2/5, or env` };
  const stated = asked[1] === undefined ? undefined : Number(asked[1]);
  for (const { index, count, first } of schedulers) {
    const own = wholeOf(environment[index]);
    if (own === undefined) continue;
    const total = stated ?? (count === undefined ? undefined : wholeOf(environment[count]));
    if (total === undefined) return { mistake: `${index} is set, but nothing says how many there are; write env/5` };
    const start = typeof first === 'number' ? first : (wholeOf(environment[first.variable]) ?? 0);
    const stride = typeof first === 'number' ? 1 : Math.max(1, wholeOf(environment[first.step]) ?? 1);
    return checked((own - start) / stride + 1, total, `${index} ${own} of ${total}`);
  }
  return { mistake: `none of ${schedulers.map(({ index }) => index).join(', ')} is set` };
}

interface Scheduler {
  readonly index: string;
  readonly count?: string;
  /** Number of the first job, or the variables that tell first and step. */
  readonly first: number | { readonly variable: string; readonly step: string };
}

// CI matrices count from 1; the arrays of Slurm from where they were told to, in steps; Kubernetes' indexed jobs from 0.
const schedulers: readonly Scheduler[] = [
  { index: 'CI_NODE_INDEX', count: 'CI_NODE_TOTAL', first: 1 },
  {
    index: 'SLURM_ARRAY_TASK_ID',
    count: 'SLURM_ARRAY_TASK_COUNT',
    first: { variable: 'SLURM_ARRAY_TASK_MIN', step: 'SLURM_ARRAY_TASK_STEP' },
  },
  { index: 'JOB_COMPLETION_INDEX', first: 0 },
];

function wholeOf(text: string | undefined): number | undefined {
  return text !== undefined && /^\d{1,9}$/.test(text) ? Number(text) : undefined;
}

function checked(index: number, count: number, text: string): ShardRead {
  return Number.isInteger(index) && index >= 1 && index <= count
    ? { shard: { index, count } }
    : { mistake: `${text}: shares are numbered from 1 to their count` };
}
