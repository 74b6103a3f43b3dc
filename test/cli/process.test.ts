/** The program as a process of its own, from source: what a shell, a pipe and a build server see. */
import { spawn, spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { call, folderWith, shipped, timeless } from './capture.ts';

const command = [process.execPath, '--import', 'tsx', 'sim/cli/main.ts'] as const;

function started(args: readonly string[], env: Readonly<Record<string, string>> = {}) {
  const [file, ...before] = command;
  const { status, stdout, stderr } = spawnSync(file, [...before, ...args], {
    encoding: 'utf8',
    env: { ...process.env, ...env },
  });
  return { status, out: stdout, err: stderr };
}

describe('process', () => {
  test('gives what the commands give: results on one stream, the status at the end', async () => {
    const args = ['run', `${shipped}/idle-one-too-high.yaml`];
    const [one, other] = [started(args), await call(args)];
    expect({ ...one, out: timeless(one.out) }).toEqual({ status: 0, out: timeless(other.out), err: '' });
  });

  test('ends with 1 where an expectation fails', () => {
    const folder = folderWith({ 'cold-start.yaml': (text) => text.replace('>= 98 %', '>= 101 %') });
    expect(started(['run', join(folder, 'cold-start.yaml')]).status).toBe(1);
  });

  test('ends with 2 on bad input, with empty results', () => {
    expect(started(['run', 'nothere.yaml'])).toEqual({
      status: 2,
      out: '',
      err: 'nothere.yaml: there is no such file\n',
    });
  });

  test('results that the disk does not take are no success', () => {
    // A device of Linux on which no byte fits.
    const full = spawnSync('sh', ['-c', `"${command.join('" "')}" schema bench >/dev/full`], { encoding: 'utf8' });
    expect(full.status).toBe(2);
    expect(full.stderr).toBe('jackstand: the results could not be written (ENOSPC)\n');
  });

  test('a reader that goes away ends it as it ends other programs, and silently', async () => {
    const [file, ...before] = command;
    const child = spawn(file, [...before, 'schema', 'bench'], { stdio: ['ignore', 'pipe', 'pipe'] });
    const messages: string[] = [];
    child.stderr.on('data', (chunk) => void messages.push(String(chunk)));
    child.stdout.destroy();
    const status = await new Promise((resolve) => child.on('close', resolve));
    expect({ status, messages }).toEqual({ status: 141, messages: [] });
  });

  test('in a pipe nothing is coloured and no status line is shown', () => {
    const { out, err } = started(['run', `${shipped}/cold-start.yaml`], { FORCE_COLOR: '1', TERM: 'xterm-256color' });
    expect(out + err).not.toContain('\u001b');
  });
});
