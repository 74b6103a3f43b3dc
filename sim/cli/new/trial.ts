/** Runs what `jackstand new` is about to write, and looks for timer settings where it refuses to arm. */
import { join } from 'node:path';
import { loadBench } from '../../bench/load-bench.ts';
import { hasErrors, type Problem } from '../../bench/problem.ts';
import { tune } from '../../campaign/tune.ts';
import { loadScenario } from '../../verdict/load-scenario.ts';
import { runScenario, type ScenarioRun } from '../../verdict/run-scenario.ts';
import type { Patch } from './bench-text.ts';
import { type Files, withDraft } from './write.ts';

export interface Trial {
  readonly problems: readonly Problem[];
  readonly runs: readonly ScenarioRun[];
}

/** The verdict on each scenario, told under the name that its file will have; or what is wrong with the files. */
export function tryOut(files: Files, folder: string): Trial {
  return withDraft(files, (draft) => {
    const problems: Problem[] = [];
    const runs: ScenarioRun[] = [];
    for (const name of files.keys()) {
      if (name === 'bench.yaml') continue;
      const loaded = loadScenario(join(draft, name));
      problems.push(...loaded.problems.map((problem) => ({ ...problem, file: problem.file.replace(draft, folder) })));
      if (loaded.value !== undefined) runs.push(runScenario({ ...loaded.value, file: join(folder, name) }));
    }
    return hasErrors(problems) ? { problems, runs: [] } : { problems, runs };
  });
}

/** A timer setting with which all would arm. */
export interface Setting {
  readonly words: string;
  readonly patch: Patch;
}

/** What fits, best first; where nothing does, why not in one sentence. */
export interface Settings {
  readonly list: readonly Setting[];
  readonly says?: string;
}

export async function settingsFor(files: Files, progress?: (line: string) => void): Promise<Settings> {
  const bench = withDraft(files, (draft) => loadBench(join(draft, 'bench.yaml')).value);
  if (bench === undefined) return { list: [], says: 'the bench cannot be read' };
  const outcome = await tune(bench, {
    confirmCount: MOST_SETTINGS,
    ...(progress === undefined
      ? {}
      : { progress: (done, total, what) => progress(`looking for timer settings: ${done} of ${total}, ${what}`) }),
  });
  progress?.('');
  if ('says' in outcome) return { list: [], says: outcome.says };
  const { tuned } = outcome.tuning;
  const fitting = tuned.filter(({ fits }) => fits).slice(0, MOST_SETTINGS);
  if (fitting.length === 0)
    return { list: [], says: 'no timer setting arms and drives over all tolerances of these answers' };
  const list = fitting.map(({ setup, constants, standing, patch }) => ({
    words: `${setup.timer.name}, mode ${setup.waveform.number} (${setup.waveform.mode}), clock / ${setup.prescaler}, top ${setup.top}, compares ${constants.output.join(' to ')}, worst margin ${(standing.worst.seconds * 1e6).toFixed(1)} us`,
    patch,
  }));
  return { list };
}

const MOST_SETTINGS = 3;
