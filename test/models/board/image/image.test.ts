/** A compiled image on the bench: wired to real parts, compared with the mapping law, cut, saved and told of. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { type Act, type Assembly, assemble } from '../../../../sim/bench/assemble.ts';
import { loadBench } from '../../../../sim/bench/load-bench.ts';
import { printProblems } from '../../../../sim/bench/print.ts';
import { settleParts } from '../../../../sim/bench/schema.ts';
import { parseSource } from '../../../../sim/bench/source.ts';
import { record } from '../../../../sim/trace/record.ts';
import type { Trace } from '../../../../sim/trace/trace.ts';

const folder = fileURLToPath(new URL('.', import.meta.url));
const shipped = fileURLToPath(new URL('../../../../scenarios/orchard-cart/firmware/', import.meta.url));

function load(firmware: string): ReturnType<typeof loadBench> {
  const overrides = firmware === '' ? undefined : parseSource(join(folder, 'with'), `board.firmware: ${firmware}`).tree;
  return loadBench(join(folder, 'bench.yaml'), overrides);
}

function ready(firmware: string, acts: readonly Act[] = []): Assembly {
  const { value, problems } = load(firmware);
  expect(problems.filter(({ severity }) => severity === 'error')).toEqual([]);
  return assemble(settleParts(value!.parts), 7, [connect, ...acts]);
}

function run(firmware: string, seconds: number, acts: readonly Act[] = []): { assembly: Assembly; trace: Trace } {
  const assembly = ready(firmware, acts);
  const recorder = record(assembly, 'all');
  recorder.runTo(seconds);
  return { assembly, trace: recorder.trace };
}

const connect: Act = { seconds: 0, part: 'battery', form: 'connect', contents: undefined };
const press = (seconds: number, share: number): Act => ({
  seconds,
  part: 'pedal',
  form: 'press',
  contents: { press: share, over: 0.1 },
});
const fault = (seconds: number, part: string, event: string): Act => ({ seconds, part, event, amount: 0 });
const samples = (trace: Trace, signal: string, from = 0): [number, number][] =>
  [...trace.column(signal)!].filter((one) => one.seconds >= from).map((one) => [one.seconds, one.value]);
const at = (trace: Trace, signal: string, seconds: number): number => trace.column(signal)!.at(seconds);
const said = (assembly: Assembly): string[] => assembly.findings.map(({ says }) => says);

const law = '{ kind: image, file: law.elf, pins: { pwm: OC0A } }';

describe('image on the bench: against the mapping law', () => {
  test.each([0, 0.03, 0.25, 0.5, 0.77, 1])('with the pedal at %f the same count, compare value and pulse', (share) => {
    const own = run(law, 1.5, [press(0.5, share)]).trace;
    const model = run('', 1.5, [press(0.5, share)]).trace;
    for (const signal of ['adc.count', 'firmware.compare', 'pwm.latched', 'pwm.tick', 'pwm.step', 'pwm.least'])
      expect([signal, at(own, signal, 1.5)]).toEqual([signal, at(model, signal, 1.5)]);
    expect(at(own, 'pwm.pulse', 1.5)).toBeCloseTo(at(model, 'pwm.pulse', 1.5), 12);
    expect(at(own, 'pwm.frame', 1.5)).toBeCloseTo(at(model, 'pwm.frame', 1.5), 12);
    expect(at(own, 'left.drive', 1.5)).toBeCloseTo(at(model, 'left.drive', 1.5), 9);
  });
  test('edges stand at whole cycles of the clock: 256 x 256 from rise to rise', () => {
    const { trace } = run(law, 0.4);
    const rises = samples(trace, 'pwm.line', 0.1)
      .filter(([, value]) => value === 1)
      .map(([seconds]) => seconds * 8e6);
    for (const [index, rise] of rises.entries()) {
      expect(Math.abs(rise - Math.round(rise))).toBeLessThan(1e-6);
      if (index > 0) expect(Math.round(rise - rises[index - 1]!)).toBe(65_536);
    }
    expect(rises.length).toBeGreaterThan(30);
  });
  test('a conversion asks the pedal at its hold instant, and its count comes 11.5 ADC clocks later', () => {
    const { trace } = run(law, 0.3);
    const holds = samples(trace, 'firmware.hold', 0.1);
    const results = samples(trace, 'firmware.result', 0.1);
    expect(holds.length).toBeGreaterThan(15);
    for (const [index, [seconds]] of holds.entries())
      if (results[index] !== undefined) expect((results[index]![0] - seconds) * 8e6).toBeCloseTo(11.5 * 64, 3);
  });
});

describe('image on the bench: what comes in the middle of a slice', () => {
  const copy = '{ kind: image, file: copy.elf, pins: { pwm: PB1, receiver: PD2, selector: { forward: PD4 } } }';
  test('a pin is followed within a pass of the loop, and never before it changes', () => {
    const { trace } = run(copy, 1);
    const heard = samples(trace, 'receiver.line', 0.2).filter(([, value]) => value < 2);
    const given = samples(trace, 'pwm.line', 0.2);
    expect(heard.length).toBeGreaterThan(70);
    // The last edge may come just before the end.
    expect(given.length).toBeGreaterThanOrEqual(heard.length - 1);
    // The loop of copy.c takes at most 14 cycles; one more instruction may stand across the edge.
    for (const [index, [seconds, value]] of given.entries()) {
      expect(value).toBe(heard[index]![1]);
      const cycles = (seconds - heard[index]![0]) * 8e6;
      expect(cycles).toBeGreaterThanOrEqual(0);
      expect(cycles).toBeLessThan(18);
    }
  });
  test('a closed contact pulls its pin to ground, and the pull-up lets go again', () => {
    const to = (seconds: number, word: string): Act => ({
      seconds,
      part: 'selector',
      form: 'to',
      contents: { to: word },
    });
    const { trace } = run(copy, 1.5, [to(0.5, 'forward'), to(1, 'neutral')]);
    const rises = (from: number, until: number): number =>
      samples(trace, 'pwm.line', from).filter(([seconds, value]) => seconds < until && value === 1).length;
    expect(rises(0.2, 0.5)).toBeGreaterThan(13);
    // With the contact closed the line still goes up for the few cycles between the two stores of each pass; no pulse lasts.
    const widths = samples(trace, 'pwm.pulse', 0.6)
      .filter(([seconds]) => seconds < 1)
      .map(([, value]) => value);
    expect(Math.max(...widths)).toBeLessThan(2e-6);
    expect(samples(trace, 'pwm.pulse', 1.1).at(-1)![1]).toBeCloseTo(1.5e-3, 5);
  });
});

describe('image on the bench: saved and restored', () => {
  const copy = '{ kind: image, file: copy.elf, pins: { pwm: PB1, receiver: PD2 } }';
  test.each([
    ['law', law],
    ['copy', copy],
    ['polls', '{ kind: image, file: polls.elf, pins: { pwm: PB1, receiver: PD2 } }'],
  ])('%s: going on from a snapshot at any event equals running through', (_name, firmware) => {
    const straight = ready(firmware, [press(0.4, 0.6)]);
    straight.kernel.run(0.8);
    const digest = straight.kernel.digestText();
    const cut = ready(firmware, [press(0.4, 0.6)]);
    for (const seconds of [0.05, 0.0712345, 0.3, 0.4567]) {
      cut.kernel.run(seconds);
      for (let step = 0; step < 3; step += 1) cut.kernel.step(0.8);
      const saved = cut.kernel.save();
      cut.kernel.run(0.8);
      expect(cut.kernel.digestText()).toBe(digest);
      cut.kernel.restore(saved);
      // The same snapshot in another kernel, which has been elsewhere.
      const other = ready(firmware, [press(0.4, 0.6)]);
      other.kernel.run(0.2);
      other.kernel.restore(saved);
      other.kernel.run(0.8);
      expect(other.kernel.digestText()).toBe(digest);
    }
  });
  test.each([
    ['findings', `{ kind: image, file: wild.elf }`],
    ['serial port', '{ kind: image, file: serial.elf }'],
    [
      'sleep and watchdog',
      `{ kind: image, file: ${join(shipped, 'cart-bug.elf')}, control-pass: { deadline: 15 ms } }`,
    ],
  ])('%s: law: the same from a snapshot at any instant, in another kernel too', (_name, firmware) => {
    const straight = ready(firmware, [press(0.1, 0.6)]);
    straight.kernel.run(0.3);
    const digest = straight.kernel.digestText();
    const found = said(straight);
    const cut = ready(firmware, [press(0.1, 0.6)]);
    const other = ready(firmware, [press(0.1, 0.6)]);
    const start = other.kernel.save();
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 0.29, noNaN: true }),
        fc.integer({ min: 0, max: 3 }),
        fc.double({ min: 0, max: 0.3, noNaN: true }),
        (seconds, steps, elsewhere) => {
          cut.kernel.restore(start);
          cut.kernel.run(seconds);
          for (let step = 0; step < steps; step += 1) cut.kernel.step(0.3);
          const saved = cut.kernel.save();
          cut.kernel.run(0.3);
          expect(cut.kernel.digestText()).toBe(digest);
          other.kernel.restore(start);
          other.kernel.run(elsewhere);
          other.kernel.restore(saved);
          other.kernel.run(0.3);
          expect(other.kernel.digestText()).toBe(digest);
        },
      ),
      { seed: 20261125, numRuns: 12 },
    );
    // Told once a run, whichever of its snapshots they came from.
    expect(said(cut)).toEqual(found);
  });
});

describe('image on the bench: resets', () => {
  const cart = `{ kind: image, file: ${join(shipped, 'cart.elf')}, control-pass: { deadline: 25 ms } }`;
  test('a program that stands still is reset by its own watchdog, and arms again', () => {
    const { assembly, trace } = run(cart, 3.5, [fault(1.5, 'board', 'program-hung')]);
    // The watchdog of cart.c: 128 ms at 128 kHz (16,384 cycles of it) after the last pass, which is at most a frame before.
    const [reset] = samples(trace, 'board.resets', 1.4).filter(([, value]) => value === 1);
    expect(reset![0] - 1.5).toBeGreaterThan(0.105);
    expect(reset![0] - 1.5).toBeLessThan(0.13);
    expect(said(assembly).some((says) => says.includes('WDTCSR: the watchdog ran out') && says.includes('main'))).toBe(
      true,
    );
    expect(said(assembly).some((says) => says.startsWith('no write to OCR1A for 25 ms'))).toBe(true);
    expect(trace.column('left.mode')!.signal.modes![at(trace, 'left.mode', 3.4)]).toMatch(/^armed/);
    const line = samples(trace, 'pwm.line', reset![0] - 1e-9).find(([, value]) => value === 2);
    expect(line![0]).toBeCloseTo(reset![0], 9);
  });
  test('a dip of the supply resets the program, which starts afresh', () => {
    const { trace } = run(cart, 2, [
      { seconds: 1, part: 'battery', form: 'disconnect', contents: undefined },
      { seconds: 1.2, part: 'battery', form: 'connect', contents: undefined },
    ]);
    expect(at(trace, 'firmware.mode', 1.1)).toBe(trace.column('firmware.mode')!.signal.modes!.indexOf('stopped'));
    expect(at(trace, 'firmware.mode', 1.6)).toBe(trace.column('firmware.mode')!.signal.modes!.indexOf('running'));
    expect(at(trace, 'pwm.pulse', 2)).toBeCloseTo(1.5e-3, 9);
  });
  test('the clock divided by its fuse makes everything eight times slower', () => {
    const { trace } = run('{ kind: image, file: law.elf, pins: { pwm: OC0A }, fuses: { clock-by-8: true } }', 1);
    expect(at(trace, 'pwm.tick', 1)).toBeCloseTo(8 * 32e-6, 12);
  });
});

describe('image on the bench: what is told', () => {
  test('printing that blocks the control pass: deadline, register and function', () => {
    const { assembly, trace } = run('{ kind: image, file: serial.elf, control-pass: { deadline: 15 ms } }', 0.5);
    expect(said(assembly)).toEqual([
      expect.stringMatching(
        /^no write to OCR1A for 15 ms: the program is in (print|main) at 0x[0-9a-f]{4} \(serial\.c:\d+\)$/,
      ),
      expect.stringMatching(
        /^UDR0: the control pass waits for the serial port, whose bytes take 8\.34 ms each: .*\(serial\.c:\d+\)$/,
      ),
    ]);
    expect(trace.column('firmware.mode')!.signal.modes).toContain('late');
  });
  test('text goes out and comes in: the bytes in their order, at their rate', () => {
    const receive: Act = { seconds: 0.2, part: 'firmware', form: 'receive', contents: { receive: 'ok' } };
    const { trace } = run('{ kind: image, file: serial.elf }', 0.5, [receive]);
    const sent = samples(trace, 'firmware.sent', 0.066);
    expect(String.fromCharCode(...sent.slice(0, 4).map(([, byte]) => byte))).toBe('hihi');
    // Ten bits of 16 x 417 cycles at 8 MHz.
    expect(sent[1]![0] - sent[0]![0]).toBeCloseTo((10 * 16 * 417) / 8e6, 9);
    const after = String.fromCharCode(...sent.map(([, byte]) => byte));
    expect(after).toContain('o');
    expect(after).toContain('k');
  });
  test('wild code, with names and lines from an ELF file', () => {
    const { assembly } = run('{ kind: image, file: wild.elf, pins: { pwm: OC1A } }', 0.5);
    const all = said(assembly);
    expect(
      all.some((says) => /^0x0065: no register is there.*, in main at 0x[0-9a-f]+ \(wild\.c:\d+\)$/.test(says)),
    ).toBe(true);
    expect(
      all.some((says) =>
        /^TCCR0B: TCCR0B changes the divider of Timer0 from 64 to 256 .* 4 times slower, in main/.test(says),
      ),
    ).toBe(true);
    expect(
      all.some((says) => /^the stack has grown down to 0x[0-9a-f]+, into variables or the heap, in deeper/.test(says)),
    ).toBe(true);
    expect(
      all.some((says) => /^the program ran into flash that the image does not give.*, in 0x6000$/.test(says)),
    ).toBe(true);
    expect(all.some((says) => /^DDRB: PB1 is not an output 250 ms after the start/.test(says))).toBe(true);
  });
  test('the same from an Intel HEX file, with addresses alone', () => {
    const { assembly } = run('{ kind: image, file: wild.hex, pins: { pwm: OC1A } }', 0.2);
    expect(said(assembly).some((says) => /^0x0065: no register is there.*, in 0x[0-9a-f]{4}$/.test(says))).toBe(true);
  });
});

describe('image files: what is wrong with them is told at the line that names them', () => {
  const problems = (firmware: string): string =>
    printProblems(load(firmware).problems, { width: 200, colours: false } as never);
  const files = mkdtempSync(join(tmpdir(), 'image-files-'));
  const file = (name: string, text: string): string => {
    writeFileSync(join(files, name), text);
    return join(files, name);
  };
  test('there is none, and the nearest name is shown', () => {
    expect(problems('{ kind: image, file: lawn.elf }')).toContain('there is no such file');
    expect(problems('{ kind: image, file: lawn.elf }')).toContain('law.elf');
  });
  test('a record with a wrong checksum: its line', () => {
    // The record of the Intel HEX specification's example, with its checksum one off.
    const bad = file('bad.hex', ':10246200464C5549442050524F46494C4500464C32\n:00000001FF\n');
    expect(problems(`{ kind: image, file: ${bad} }`)).toContain('line 1: the checksum is 0x32; that of the record');
  });
  test('a folder, and a file that is no image', () => {
    expect(problems(`{ kind: image, file: ${files} }`)).toContain('that is no file');
    expect(problems(`{ kind: image, file: ${file('x.hex', 'hello')} }`)).toContain(
      'neither an Intel HEX file nor a linked ELF file',
    );
  });
  test('an image for a larger chip', () => {
    const big = file('big.hex', ':020000040001F9\n:0100000000FF\n:00000001FF\n');
    expect(problems(`{ kind: image, file: ${big} }`)).toContain("lie outside of the atmega328p's 32768 bytes");
  });
  test.runIf(process.platform !== 'win32')('the folder of these files is removed again', () => {
    rmSync(files, { recursive: true });
  });
});

describe('image files: they are what their sources say', () => {
  // Another version of the compiler makes other code; the images are of this one.
  const version = spawnSync('avr-gcc', ['-dumpversion']).stdout?.toString().trim();
  test.runIf(version === '5.4.0').each([
    [folder, ['law.elf', 'copy.elf', 'serial.elf', 'paced.elf', 'polls.elf', 'wild.elf', 'wild.hex', 'keeps.elf']],
    [shipped, ['cart.elf', 'cart.hex', 'cart-bug.elf', 'cart-bug.hex']],
  ])('rebuilding in %s gives the same bytes', (where, names) => {
    const out = mkdtempSync(join(tmpdir(), 'image-build-'));
    expect(spawnSync(join(where, 'build.sh'), [out, 'images']).status).toBe(0);
    for (const name of names)
      expect(readFileSync(join(out, name)).equals(readFileSync(join(where, name))), name).toBe(true);
    rmSync(out, { recursive: true });
  });
});
