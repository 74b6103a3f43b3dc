/** `jackstand run --watch`: runs again what a changed file has to do with. */
import { existsSync, type FSWatcher, readFileSync, statSync, watch } from 'node:fs';
import { dirname, resolve } from 'node:path';
import { Exit } from './exit.ts';
import type { Ran } from './run.ts';
import type { Streams } from './streams.ts';

/** Editors write a file in several steps; what comes within this time is one change. */
const SETTLE_MILLISECONDS = 100;

/**
 * Runs at once, then after each change of a file in a folder that something was read from: a changed scenario alone, and
 * all after any other change, as benches and what they name may be behind every scenario. Ends with Ctrl-C.
 */
export function watchAndRun(
  paths: readonly string[],
  runOnce: (only?: readonly string[]) => Promise<Ran>,
  streams: Streams,
): Promise<number> {
  return new Promise((done, failed) => {
    const watchers = new Map<string, FSWatcher>();
    const changed = new Set<string>();
    let scenarioFiles = new Set<string>();
    let timer: NodeJS.Timeout | undefined;
    let isRunning = false;

    const notice = (folder: string) => (_: string, name: string | null) => {
      // What this command itself writes must not start it again, and names without an ending are editors' own.
      if (name === null || !/\.(ya?ml|hex|elf)$/.test(name)) return;
      changed.add(resolve(folder, name));
      clearTimeout(timer);
      timer = setTimeout(again, SETTLE_MILLISECONDS);
    };
    const watchFolders = (files: Iterable<string>): void => {
      for (const file of files) {
        const folder = statSync(file, { throwIfNoEntry: false })?.isDirectory() === true ? file : dirname(file);
        if (!existsSync(folder)) continue;
        if (!watchers.has(folder)) watchers.set(folder, watch(folder, notice(folder)));
      }
    };
    const once = async (only?: readonly string[]): Promise<void> => {
      isRunning = true;
      const { scenarios } = await runOnce(only);
      const files = scenarios.map(({ file }) => resolve(file));
      scenarioFiles = new Set([...scenarioFiles, ...files]);
      // What could not be read at all is watched too: it is there that a mistake will be mended.
      watchFolders([...files.flatMap((file) => [file, benchOf(file)]), ...paths.map((path) => resolve(path))]);
      isRunning = false;
      streams.err(`watching ${watchers.size === 1 ? '1 folder' : `${watchers.size} folders`}; Ctrl-C ends\n`);
    };
    const again = (): void => {
      if (isRunning) {
        timer = setTimeout(again, SETTLE_MILLISECONDS);
        return;
      }
      const files = [...changed];
      changed.clear();
      once(files.every((file) => scenarioFiles.has(file)) ? files : undefined).catch(failed);
    };
    process.once('SIGINT', () => {
      clearTimeout(timer);
      for (const watcher of watchers.values()) watcher.close();
      done(Exit.interrupted);
    });
    once().catch(failed);
  });
}

/** The bench that a scenario names, as a path; the scenario itself where none is found. A look, not a check. */
function benchOf(file: string): string {
  const named = /^bench:\s*["']?([^"'#\n]+)/m.exec(readFileSync(file, 'utf8'))?.[1]?.trim();
  return named === undefined ? file : resolve(dirname(file), named);
}
