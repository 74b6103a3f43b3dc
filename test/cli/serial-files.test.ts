/** `run --serial`: what a program prints, byte for byte, in a file or on standard output. */
import { existsSync, mkdirSync, readdirSync, readFileSync } from 'node:fs';

import { join, resolve } from 'node:path';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { growingFile } from '../../sim/cli/written-files.ts';
import { call, folderWith } from './capture.ts';

/** A module that prints `text` (a TypeScript expression) once, as it starts. */
const printing = (text: string): string =>
  `import type { Board } from './jackstand.d.ts';
export function init(board: Board): void { board.setCompare(46); board.print(${text}); }
export function pass(_board: Board): void {}
`;
const scenarioOf = (firmware: string, seconds: number): string =>
  `scenario: printing
bench: bench.yaml
with: { board.firmware: ${firmware} }
seed: 7
duration: ${seconds} s
steps: [{ at: 0 s, battery: connect }]
expect: [{ that: left.drive = 0, always: true }]
`;
const moduleOf = (file: string): string =>
  `{ kind: module, file: firmware/${file}, every: 10 ms, serial-rate: 115200 1/s }`;
const printer = (text: string, seconds = 0.5): string =>
  folderWith({
    'firmware/printing.ts': printing(text),
    'printing.yaml': scenarioOf(moduleOf('printing.ts'), seconds),
  });
const bytesIn = (file: string): number[] => [...readFileSync(file)];
const codes = (text: string): number[] => [...text].map((character) => character.charCodeAt(0));

describe('run --serial: the bytes', () => {
  test('every byte is there, in the order in which it was printed, also where one comes twice and at the ends', async () => {
    const folder = printer("'aab  bba\\n\\n\\0\\0'");
    const file = join(folder, 'printed.log');
    const { status, err, out } = await call(['run', join(folder, 'printing.yaml'), '--serial', file]);
    expect({ status, err }).toEqual({ status: 0, err: '' });
    expect(bytesIn(file)).toEqual(codes('aab  bba\n\n\0\0'));
    expect(out).toContain('1 scenario: 1 hold, 0 fail');
    expect(readdirSync(folder).filter((name) => name.endsWith('.part'))).toEqual([]);
  });

  test('law: whatever is printed in ASCII is what the file holds', async () => {
    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.integer({ min: 0, max: 127 }), { minLength: 1, maxLength: 300 }),
        async (printed) => {
          const folder = printer(JSON.stringify(String.fromCharCode(...printed)));
          const file = join(folder, 'printed');
          expect((await call(['run', join(folder, 'printing.yaml'), '--serial', file])).status).toBe(0);
          expect(bytesIn(file)).toEqual(printed);
        },
      ),
      { seed: 20261125, numRuns: 8 },
    );
  });

  test('a compiled image that sends one byte over and over: 1199 baud and ten bits a byte make 119.9 of them a second', async () => {
    const image = resolve('test/models/board/image/serial.elf');
    const folder = folderWith({
      'printing.yaml': scenarioOf(`{ kind: image, file: ${image}, pins: { pwm: OC1A, pedal: ADC0 } }`, 1),
    });
    const file = join(folder, 'printed.log');
    await call(['run', join(folder, 'printing.yaml'), '--serial', file]);
    const printed = readFileSync(file, 'latin1');
    expect(printed).toMatch(/^(hi)+h?$/);
    // Less than one second, as the board starts only once its supply is there.
    expect(printed.length).toBeGreaterThan(100);
    expect(printed.length).toBeLessThanOrEqual(119);
  });

  test('what is recorded, judged and digested is as it is without it', async () => {
    const folder = printer("'aabb'");
    const file = join(folder, 'printing.yaml');
    const args = ['run', file, '-f', 'json', '--signals', 'all', '--trace'];
    const timeless = (text: string): string => text.replaceAll(/"wallSeconds": [\d.e-]+/g, '');
    const without = await call([...args, join(folder, 'a.csv')]);
    const beside = await call([...args, join(folder, 'b.csv'), '--serial', join(folder, 'printed.log')]);
    expect(timeless(beside.out)).toBe(timeless(without.out));
    expect(readFileSync(join(folder, 'b.csv'))).toEqual(readFileSync(join(folder, 'a.csv')));
  });
});

describe('run --serial: where it goes', () => {
  test('-: bytes and nothing else on standard output, the results on standard error', async () => {
    const folder = printer("'aab\\n'");
    const bytes: number[] = [];
    const { status, out, err } = await call(['run', join(folder, 'printing.yaml'), '--serial', '-'], {
      outBytes: (some) => void bytes.push(...some),
    });
    expect({ status, out, bytes }).toEqual({ status: 0, out: '', bytes: codes('aab\n') });
    expect(err).toContain('1 scenario: 1 hold, 0 fail');
  });

  test('a file for each of several scenarios that have a port, named after them, and none for one that has not', async () => {
    const folder = printer("'aa'");
    const scenarios = ['printing', 'module-script-cold-start', 'cold-start'].map((name) =>
      join(folder, `${name}.yaml`),
    );
    mkdirSync(join(folder, 'out'));
    expect((await call(['run', ...scenarios, '--serial', join(folder, 'out/printed')])).status).toBe(0);
    expect(readdirSync(join(folder, 'out')).sort()).toEqual(['printed-module-script-cold-start', 'printed-printing']);
    // What cart-pass.ts prints as it starts.
    expect(bytesIn(join(folder, 'out/printed-module-script-cold-start'))).toEqual(codes('cart\n'));
    expect(bytesIn(join(folder, 'out/printed-printing'))).toEqual(codes('aa'));
  });

  test.each([
    ['there is no such folder', 'printing.yaml', 'nowhere/printed.log', 'there is no folder'],
    ['the name is a folder', 'printing.yaml', 'firmware', 'this is a folder'],
    ['nothing has a serial port', 'cold-start.yaml', 'printed.log', 'nothing on this bench has a serial port'],
  ])('2 where %s, and nothing is written', async (_, scenario, file, says) => {
    const folder = printer("'aa'");
    const { status, out, err } = await call(['run', join(folder, scenario), '--serial', join(folder, file)]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain(says);
    expect(existsSync(join(folder, 'printed.log'))).toBe(false);
  });

  test('2 for several scenarios on standard output', async () => {
    const folder = printer("'aa'");
    const two = ['printing.yaml', 'module-script-cold-start.yaml'].map((name) => join(folder, name));
    const { status, out, err } = await call(['run', ...two, '--serial', '-'], { outBytes: () => {} });
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain('standard output takes what one scenario sends, and here are 2');
  });

  test('a growing file has its name only once it is whole; a dropped one leaves the old one as it was', () => {
    const folder = folderWith({ 'printed.log': 'before' });
    const file = join(folder, 'printed.log');
    const dropped = growingFile('--serial', file);
    dropped.add(Uint8Array.of(1, 1));
    dropped.drop();
    expect(readFileSync(file, 'utf8')).toBe('before');
    const kept = growingFile('--serial', file);
    kept.add(Uint8Array.of(1, 1));
    kept.add(Uint8Array.of(2));
    expect(readFileSync(file, 'utf8')).toBe('before');
    expect(kept.finish()).toEqual([]);
    expect(bytesIn(file)).toEqual([1, 1, 2]);
    expect(readdirSync(folder).filter((name) => name.endsWith('.part'))).toEqual([]);
  });

  test('what the system refuses is told, once', () => {
    const folder = folderWith({});
    mkdirSync(join(folder, 'printed.log.part'));
    const refused = growingFile('--serial', join(folder, 'printed.log'));
    refused.add(Uint8Array.of(1));
    expect(refused.finish()).toMatchObject([{ code: 'refused' }]);
  });
});
