/** Compiles the test programs for the chip and for the host, where both compilers are installed. */
import { execFile, spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { promisify } from 'node:util';

const run = promisify(execFile);
export const FOLDER = fileURLToPath(new URL('.', import.meta.url));

export const hasCompilers = ['avr-gcc', 'gcc'].every((name) => spawnSync(name, ['--version']).status === 0);

/** Writes `output`, an ELF file for the chip. `flags` go before the source. */
export async function compileForChip(source: string, output: string, flags: readonly string[]): Promise<void> {
  await run('avr-gcc', [
    '-mmcu=atmega328p',
    '-DF_CPU=16000000UL',
    '-std=gnu99',
    '-w',
    '-fwrapv',
    `-I${FOLDER}`,
    ...flags,
    '-o',
    output,
    source,
  ]);
}

/** What the program prints on the host. */
export async function printedByHost(source: string, output: string): Promise<Uint8Array> {
  await run('gcc', ['-std=gnu99', '-w', '-O1', '-fwrapv', '-funsigned-char', `-I${FOLDER}`, '-o', output, source]);
  const { stdout } = await run(output, [], { encoding: 'buffer', maxBuffer: 1e8 });
  return new Uint8Array(stdout);
}
