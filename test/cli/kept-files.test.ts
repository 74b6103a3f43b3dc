/** `run --eeprom`: what a program stored is there in the next run. */
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { call, folderWith } from './capture.ts';

const image = resolve('test/models/board/image/keeps.elf');
const scenarioOf = (seconds: number, eeprom = ''): string =>
  `scenario: keeping
bench: bench.yaml
with: { board.firmware: { kind: image, file: ${image}, pins: { pwm: OC1A, pedal: ADC0 }${eeprom} } }
seed: 7
duration: ${seconds} s
steps: [{ at: 0 s, battery: connect }]
expect: [{ that: left.drive = 0, always: true }]
`;
/** The first bytes: 16 data bytes stand in a record after its colon, length, address and type. */
const bytesIn = (file: string): number[] => [...Buffer.from(readFileSync(file, 'latin1').slice(9, 41), 'hex')];

describe('run --eeprom', () => {
  test('each run finds what the one before it left, also in the file that it then writes anew', async () => {
    const folder = folderWith({ 'first.yaml': scenarioOf(0.3), 'next.yaml': scenarioOf(0.3, ', eeprom: kept.eep') });
    const file = join(folder, 'kept.eep');
    const starts: number[] = [];
    for (const scenario of ['first.yaml', 'next.yaml', 'next.yaml']) {
      const { status, err } = await call(['run', join(folder, scenario), '--eeprom', file]);
      expect({ status, err }).toEqual({ status: 0, err: '' });
      const [count, , given, untouched] = bytesIn(file);
      starts.push(count!);
      expect([given, untouched]).toEqual([0xa5, 0xff]);
    }
    // The image gives 0x10, and each start counts one more.
    expect(starts).toEqual([0x11, 0x12, 0x13]);
    // 1024 bytes in records of 16, and the end record.
    expect(readFileSync(file, 'latin1').match(/^:/gm)).toHaveLength(1024 / 16 + 1);
    expect(readdirSync(folder).filter((name) => name.endsWith('.part'))).toEqual([]);
  });

  test('it is that of the end of the run, not of what the chip has already done beyond', async () => {
    const folder = folderWith({});
    const scenario = join(folder, 'keeping.yaml');
    const trace = join(folder, 'kept.csv');
    for (const seconds of [0.2, 0.2031, 0.2077, 0.2114, 0.2158, 0.2193, 0.25]) {
      writeFileSync(scenario, scenarioOf(seconds));
      const files = ['--eeprom', join(folder, 'kept.eep'), '--trace', trace, '--signals', 'firmware.compare'];
      await call(['run', scenario, ...files]);
      const [head, ...rows] = readFileSync(trace, 'utf8').trim().split('\n');
      const column = head!.split(',').findIndex((name) => name.includes('firmware.compare'));
      const turns = Number(rows.at(-1)!.split(',')[column]) - 1000;
      // The program stores a number, then some instructions later, within microseconds, shows it as the compare value.
      expect(bytesIn(join(folder, 'kept.eep'))[1]).toBe(turns);
      expect(turns).toBeGreaterThan(10);
    }
  });

  test('the run is what it is without it', async () => {
    const folder = folderWith({ 'keeping.yaml': scenarioOf(0.3) });
    const args = ['run', join(folder, 'keeping.yaml'), '-f', 'json'];
    const timeless = (text: string): string => text.replaceAll(/"wallSeconds": [\d.e-]+/g, '');
    const { out } = await call([...args, '--eeprom', join(folder, 'kept.eep')]);
    expect(timeless(out)).toBe(timeless((await call(args)).out));
  });

  test('several scenarios have a file each, and one without an EEPROM has none', async () => {
    const folder = folderWith({ 'a.yaml': scenarioOf(0.1), 'b.yaml': scenarioOf(0.1) });
    mkdirSync(join(folder, 'out'));
    const scenarios = ['a', 'b', 'cold-start'].map((name) => join(folder, `${name}.yaml`));
    expect((await call(['run', ...scenarios, '--eeprom', join(folder, 'out/kept.eep')])).status).toBe(0);
    expect(readdirSync(join(folder, 'out')).sort()).toEqual(['kept-a.eep', 'kept-b.eep']);
  });

  test.each([
    ['there is no such folder', 'keeping.yaml', 'nowhere/kept.eep', 'there is no folder'],
    ['the ending is another', 'keeping.yaml', 'kept.bin', '.bin is no format that it writes'],
    ['nothing has an EEPROM', 'module-cold-start.yaml', 'kept.eep', 'nothing here has an EEPROM'],
  ])('2 where %s, and nothing is written', async (_, scenario, file, says) => {
    const folder = folderWith({ 'keeping.yaml': scenarioOf(0.1) });
    const { status, out, err } = await call(['run', join(folder, scenario), '--eeprom', join(folder, file)]);
    expect({ status, out }).toEqual({ status: 2, out: '' });
    expect(err).toContain(says);
    expect(existsSync(join(folder, file))).toBe(false);
  });

  test('a kept file that is damaged is told where it is named, with its line', async () => {
    const folder = folderWith({ 'next.yaml': scenarioOf(0.1, ', eeprom: kept.eep'), 'kept.eep': ':0100010033CC\n' });
    const { status, err } = await call(['run', join(folder, 'next.yaml')]);
    expect(status).toBe(2);
    expect(err).toMatch(/board\.firmware\.eeprom.*line 1: the checksum is 0xcc/);
  });
});
