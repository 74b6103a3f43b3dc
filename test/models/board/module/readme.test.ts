/** What the README shows of modules, taken out of it as it stands: it builds as it says there, without a warning, and runs. */
import { spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { readModule } from '../../../../models/board/module/read.ts';
import { passes } from './example-world.ts';

const firmware = 'scenarios/orchard-cart/firmware';
const section = readFileSync('README.md', 'utf8').split('### The logic alone')[1]!.split('\n## ')[0]!;
const fences = (language: string): string[] =>
  [...section.matchAll(new RegExp(`^\`\`\`${language}\\n([^]*?)^\`\`\``, 'gm'))].map(([, text]) => text!);

/** Debian's compiler for Rust, wherever another one stands on the path. */
const rustc = existsSync('/usr/bin/rustc') ? '/usr/bin/rustc' : 'rustc';
const isHere = {
  clang: spawnSync('clang', ['--version']).status === 0,
  rustc: existsSync('/usr/lib/rustlib/wasm32-unknown-unknown'),
} as const;

describe('the README on modules', () => {
  test.for([
    ['c', 'cart.c', 'jackstand.h', 'clang '],
    ['cpp', 'cart.cpp', 'jackstand.h', 'clang\\+\\+ '],
    ['rust', 'cart.rs', 'jackstand.rs', 'rustc '],
  ] as const)(
    '%s: the example builds by the command under it, and does what it says',
    ([language, file, beside, command], { skip }) => {
      const needs = command === 'rustc ' ? 'rustc' : 'clang';
      if (!isHere[needs]) skip(`${needs} for WebAssembly is not here`);
      const folder = mkdtempSync(join(tmpdir(), 'module-readme-'));
      copyFileSync(join(firmware, beside), join(folder, beside));
      writeFileSync(join(folder, file), fences(language)[0]!);
      const line = fences('sh').find((one) => new RegExp(`^${command}`).test(one))!;
      const built = spawnSync('sh', ['-c', line.replace(/^rustc/, rustc)], { cwd: folder });
      expect([built.status, String(built.stderr)]).toEqual([0, '']);
      const { program, mistakes } = readModule('cart.wasm', new Uint8Array(readFileSync(join(folder, 'cart.wasm'))));
      expect(mistakes).toEqual([]);
      expect(passes(program!, [100, 500, 500])).toEqual(['compare 46', 'compare 47', 'compare 48']);
      rmSync(folder, { recursive: true });
    },
  );
  test('TypeScript: the example is taken as it stands', () => {
    const { program, mistakes } = readModule('cart.ts', new TextEncoder().encode(fences('typescript')[0]!));
    expect(mistakes).toEqual([]);
    expect(passes(program!, [100, 500, 500])).toEqual(['compare 46', 'compare 47', 'compare 48']);
  });
  test('each function of the interface is in its table, in C and in TypeScript', () => {
    const header = readFileSync(join(firmware, 'jackstand.h'), 'utf8');
    const types = readFileSync(join(firmware, 'jackstand.d.ts'), 'utf8');
    const named = [...header.matchAll(/^JACKSTAND_GIVES\((\w+)\)/gm)].map(([, name]) => name!);
    expect(named.length).toBe(9);
    for (const name of named) expect(section).toMatch(new RegExp(`^\\| \`\\w+ ${name}\\(`, 'm'));
    for (const [, name] of types.matchAll(/^ {2}(\w+)\(/gm)) expect(section).toContain(`\`board.${name}(`);
  });
});
