/** `npm start`: the dashboard on the shipped pair at a terminal; elsewhere, and in CI, the verdict on the shipped scenarios. */
import { fileURLToPath } from 'node:url';
import { processStreams } from './streams.ts';

const folder = fileURLToPath(new URL('../../scenarios/orchard-cart/', import.meta.url));
const streams = processStreams(process);
const isAttended = process.stdin.isTTY === true && process.stdout.isTTY === true && process.env.CI === undefined;

if (isAttended) {
  const { show } = await import('./show.ts');
  const pair = ['cold-start.yaml', 'idle-one-too-high.yaml'].map((name) => `${folder}${name}`);
  process.exitCode = await show(pair, {}, streams, process);
} else {
  const { run } = await import('./run.ts');
  process.exitCode = await run([folder], {}, streams);
}
