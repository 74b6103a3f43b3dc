/** `jackstand completion`: asked as a person at a prompt asks, of the shells themselves. Also: the help of every command. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { manuals } from '../../sim/cli/manual.ts';
import { call } from './capture.ts';

const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
writeFileSync(join(folder, 'my bench.yaml'), '');
writeFileSync(join(folder, 'cart.yaml'), '');

const has = (shell: string): boolean => spawnSync(shell, ['-c', 'true']).error === undefined;

for (const shell of ['zsh', 'fish'])
  if (!has(shell)) process.stderr.write(`completion: not tried in ${shell}, which is not here\n`);

async function scriptOf(shell: string): Promise<string> {
  const { status, out, err } = await call(['completion', shell]);
  expect({ status, err }).toEqual({ status: 0, err: '' });
  const file = join(folder, `.${shell}`);
  writeFileSync(file, out);
  return file;
}

function lines(shell: string, args: readonly string[]): string[] {
  const { stdout, stderr } = spawnSync(shell, args, {
    cwd: folder,
    encoding: 'utf8',
    env: { ...process.env, LANG: 'C.UTF-8' },
  });
  expect(stderr).toBe('');
  return stdout.split('\n').flatMap((line) => (line.trim() === '' ? [] : [line.trim()]));
}

/** What readline would offer for the last of these words. */
async function byBash(...words: readonly string[]): Promise<string[]> {
  const file = await scriptOf('bash');
  const quotedWords = ['jackstand', ...words].map((word) => `'${word}'`).join(' ');
  const script = `source '${file}'; COMP_WORDS=(${quotedWords}); COMP_CWORD=${words.length}; _jackstand; printf '%s\\n' "\${COMPREPLY[@]}"`;
  return lines('bash', ['--norc', '-c', script]);
}

async function byFish(line: string): Promise<string[]> {
  const file = await scriptOf('fish');
  return lines('fish', ['--no-config', '-c', `source '${file}'; complete -C '${line}'`]).map(
    (one) => one.split('\t')[0]!,
  );
}

/** A zsh at a pseudo-terminal of its own, in which the tabulator is pressed; what it then shows. */
async function byZsh(line: string): Promise<string> {
  const file = await scriptOf('zsh');
  const settings = ['autoload -U compinit; compinit -u -D', `source '${file}'`, 'LISTMAX=1000', "PS1='ready> '"];
  writeFileSync(join(folder, '.zshrc'), `${settings.join('\n')}\n`);
  const script = [
    'zmodload zsh/zpty',
    `zpty shell env ZDOTDIR='${folder}' TERM=dumb zsh -i`,
    "zpty -r shell greeted '*ready> '",
    `zpty -w -n shell '${line}'$'\\t'`,
    // Shown at once, but in pieces; what comes within a second is all there is.
    'sleep 1',
    'while zpty -r -t shell piece; do print -r -- "$piece"; done',
    'zpty -d shell',
  ];
  writeFileSync(join(folder, 'ask.zsh'), script.join('\n'));
  return lines('zsh', ['-f', 'ask.zsh']).join('\n');
}

describe('completion: bash', () => {
  test('commands, choices, options and files', async () => {
    expect(await byBash('')).toEqual([...Object.keys(manuals), 'help'].sort((a, b) => order(a) - order(b)));
    expect(await byBash('ch')).toEqual(['check', 'charts']);
    expect(await byBash('run', '--format', 'j')).toEqual(['json', 'junit']);
    expect(await byBash('run', '--format', '=', 't')).toEqual(['text', 'tap']);
    expect(await byBash('charts', '-f', '')).toEqual(['mermaid', 'svg', 'scxml']);
    expect(await byBash('run', '--re')).toEqual(['--report']);
    expect(await byBash('schema', '')).toEqual(['bench', 'scenario', 'result']);
    expect(await byBash('check', 'my')).toEqual(['my bench.yaml']);
    expect(await byBash('run', '--report', 'ca')).toEqual(['cart.yaml']);
    expect(await byBash('hunt', '--seed', '')).toEqual([]);
    expect(await byBash('--v')).toEqual(['--version']);
  });
});

/** In the order of the help. */
function order(name: string): number {
  return orderOfHelp.indexOf(name);
}
const orderOfHelp = [...(await call(['--help'])).out.matchAll(/^ {2}(\w+) /gm)].map(([, name]) => name!);

describe.runIf(has('fish'))('completion: fish', () => {
  test('commands, choices, options and files', async () => {
    expect(await byFish('jackstand ch')).toEqual(['charts', 'check']);
    expect(await byFish('jackstand run --format j')).toEqual(['json', 'junit']);
    expect(await byFish('jackstand run --re')).toEqual(['--report']);
    expect(await byFish('jackstand schema ')).toEqual(['bench', 'result', 'scenario']);
    expect(await byFish('jackstand check ca')).toEqual(['cart.yaml']);
    expect(await byFish('jackstand hunt --seed ')).toEqual([]);
  });
});

describe.runIf(has('zsh'))('completion: zsh', () => {
  test('commands, choices, options and files', async () => {
    expect(await byZsh('jackstand hu')).toContain('hunt');
    const formats = await byZsh('jackstand run --format ');
    for (const format of ['text', 'json', 'junit', 'tap', 'github']) expect(formats).toContain(format);
    expect(await byZsh('jackstand schema res')).toContain('result');
    expect(await byZsh('jackstand run --repo')).toContain('--report');
    expect(await byZsh('jackstand check ca')).toContain('cart.yaml');
  }, 60_000);
});

describe('help: every command', () => {
  const commands = orderOfHelp.filter((name) => name !== 'help');

  test('has a manual, and there is none for what is not there', () => {
    expect(commands.length).toBeGreaterThan(12);
    expect([...commands].sort()).toEqual(Object.keys(manuals).sort());
  });

  test.each(commands)('%s: what it does, examples, statuses, environment, in 80 columns', async (name) => {
    const { status, out } = await call([name, '--help']);
    expect(status).toBe(0);
    for (const part of ['Usage:', 'Options:', 'Examples:', 'Exit status:', 'Environment:']) expect(out).toContain(part);
    expect(out.split('\n').filter((line) => line.length > 80)).toEqual([]);
  });

  test.each(Object.values(manuals).flatMap(({ examples }) => examples))(
    'example: %s: names a command and options that exist',
    async (example) => {
      const [, name, ...words] = example
        .replace(/ >.*$/, '')
        .replaceAll(/"[^"]*"/g, 'quoted')
        .split(' ');
      const { out } = await call([name!, '--help']);
      for (const word of words)
        if (word.startsWith('-')) expect(out).toMatch(new RegExp(`^  (-\\w, )?${word}\\b|^  ${word}, `, 'm'));
      expect(commands).toContain(name);
    },
  );
});
