/**
 * What the README shows is what happens: its commands are run in their order in one shell, its excerpts stand in the
 * files that they name. `UPDATE_README=1` writes what the commands print now into the README instead of comparing.
 *
 * Timings are masked. A line `...` in an output stands for any lines, a comment `# ...` in an excerpt for left-out ones.
 */
import { spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { root } from './project/sources.ts';

const path = join(root, 'README.md');
const readme = readFileSync(path, 'utf8');

interface Block {
  readonly language: string;
  readonly text: string;
}

const blocks: readonly Block[] = [...readme.matchAll(/^```(\w+)\n([\s\S]*?)^```$/gm)].map(([, language, text]) => ({
  language: language!,
  text: text!,
}));
const ofLanguage = (language: string): string[] =>
  blocks.filter((block) => block.language === language).map(({ text }) => text);

interface Step {
  readonly command: string;
  readonly output: string;
}

/** A `console` block: commands after `$ `, each with what it prints. */
function stepsOf(text: string): Step[] {
  return text.split(/^\$ /m).flatMap((part) => {
    if (part === '') return [];
    const [command, ...output] = part.split('\n');
    return [{ command: command!, output: output.join('\n') }];
  });
}

/** Runs all commands in one shell, so that `$?` and files of earlier ones are there; gives what each printed. */
function outputsOf(commands: readonly string[]): string[] {
  const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
  cpSync(join(root, 'scenarios'), join(folder, 'scenarios'), { recursive: true });
  const mark = '-- end of command --';
  const tool = `${process.execPath} --import ${import.meta.resolve('tsx')} ${join(root, 'sim/cli/main.ts')}`;
  const script = [
    `jackstand() { ${tool} "$@"; }`,
    ...commands.map(
      (command) => `${command.includes('$?') ? '(exit $status)\n' : ''}${command}\nstatus=$?\necho '${mark}'`,
    ),
  ].join('\n');
  const { stdout } = spawnSync('bash', ['-c', `exec 2>&1\n${script}`], {
    cwd: folder,
    encoding: 'utf8',
    env: { ...process.env, NO_COLOR: '1', LANG: 'C.UTF-8' },
  });
  // CSV ends its lines with two characters, which a README would not show.
  return stdout.replaceAll('\r', '').split(`${mark}\n`);
}

const masked = (text: string): string => text.replaceAll(/ in \d+\.\d ms\)/g, ' in TIME)');

/** Equal, line by line, where a line `...` of what is wanted takes any number of lines. */
function expectShown(printed: string, shown: string): void {
  const pieces = masked(shown).split(/^\.\.\.\n/m);
  if (pieces.length === 1) {
    expect(masked(printed).trimEnd()).toBe(pieces[0]!.trimEnd());
    return;
  }
  let rest = masked(printed);
  pieces.forEach((piece, index) => {
    const at = index === pieces.length - 1 && piece !== '' ? rest.lastIndexOf(piece.trimEnd()) : rest.indexOf(piece);
    if (at === -1 || (index === 0 && at !== 0)) expect(rest).toContain(piece);
    rest = rest.slice(at + piece.length);
  });
}

/** The README with what was printed; outputs that differ by a timing alone, or are shown in part, stay. */
function updated(text: string, steps: readonly Step[], outputs: readonly string[]): string {
  let from = 0;
  steps.forEach(({ command, output }, index) => {
    const printed = outputs[index]!;
    const start = text.indexOf(`$ ${command}\n`, from) + command.length + 3;
    const isKept = /^\.\.\.$/m.test(output) || masked(output) === masked(printed);
    if (!isKept) text = text.slice(0, start) + printed + text.slice(start + output.length);
    from = start;
  });
  return text;
}

describe('README: commands', () => {
  const steps = ofLanguage('console').flatMap(stepsOf);
  const outputs = outputsOf(steps.map(({ command }) => command));

  if (process.env.UPDATE_README !== undefined) writeFileSync(path, updated(readme, steps, outputs));

  test('there are some, and the shell ran them all', () => {
    expect(steps.length).toBeGreaterThan(6);
    expect(outputs.length).toBe(steps.length + 1);
  });
  test.each(steps.map(({ command, output }, index) => [command, output, index] as const))(
    '%s',
    (_command, output, index) => expectShown(outputs[index]!, output),
  );
});

describe('README: excerpts of files', () => {
  test.each(ofLanguage('yaml').filter((text) => text.startsWith('# ')))('%s', (text) => {
    const [head, ...lines] = text.trimEnd().split('\n');
    const file = readFileSync(join(root, head!.slice(2)), 'utf8');
    for (const piece of lines.join('\n').split(/^# \.\.\.\n/m)) expect(file).toContain(piece.trimEnd());
  });
});

describe('README: the library', () => {
  test('the example prints what is shown', () => {
    const [example] = ofLanguage('ts');
    const [shown] = ofLanguage('text');
    const folder = mkdtempSync(join(tmpdir(), 'jackstand-'));
    mkdirSync(join(folder, 'node_modules'));
    symlinkSync(join(root, 'scenarios'), join(folder, 'scenarios'));
    writeFileSync(join(folder, 'package.json'), '{ "type": "module" }');
    const source = example!.replace("'jackstand'", JSON.stringify(join(root, 'sim/index.ts')));
    writeFileSync(join(folder, 'example.ts'), source);
    const { stdout, stderr } = spawnSync(process.execPath, ['--import', import.meta.resolve('tsx'), 'example.ts'], {
      cwd: folder,
      encoding: 'utf8',
    });
    expect(stderr).toBe('');
    expect(stdout).toBe(shown);
  });
});
