/** Sessions and players over the shipped scenarios, for the tests of the dashboard. */
import { readdirSync } from 'node:fs';
import { playOf } from '../../sim/dashboard/drive.ts';
import { loadGround } from '../../sim/dashboard/ground.ts';
import { playOfScenario, Session } from '../../sim/dashboard/session.ts';
import { loadScenario } from '../../sim/verdict/load-scenario.ts';
import type { Scenario } from '../../sim/verdict/run-scenario.ts';

export const FOLDER = 'scenarios/orchard-cart';

export const scenarioNames: readonly string[] = readdirSync(FOLDER).filter(
  (name) => name.endsWith('.yaml') && !name.startsWith('bench'),
);

export function scenario(name: string): Scenario {
  const { value } = loadScenario(`${FOLDER}/${name}`);
  if (value === undefined) throw new Error(`${name} cannot be read`);
  return value;
}

/** Real time that stands still: nothing is timed in these tests. */
const still = (): number => 0;

export function showOf(...names: readonly string[]): Session {
  return new Session({ plays: names.map((name) => playOfScenario(scenario(name))), clock: still });
}

export interface Written {
  file: string;
  text: string;
}

/** A drive of a file of the folder, and what it has written. */
export function driveOf(name: string): { readonly session: Session; readonly written: Written[] } {
  const { value: ground } = loadGround(`${FOLDER}/${name}`, !name.startsWith('bench'));
  if (ground === undefined) throw new Error(`${name} cannot be read`);
  const written: Written[] = [];
  const session = new Session({
    plays: [playOf({ ground, steps: [] })],
    ground,
    clock: still,
    write: (file, text) => {
      written.push({ file, text });
      return undefined;
    },
  });
  return { session, written };
}

/** Lets so many simulated seconds pass. */
export function pass(session: Session, seconds: number): void {
  session.player.runTo(session.player.seconds + seconds);
  session.moved();
}
