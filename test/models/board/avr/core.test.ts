/**
 * Cycles, the stack, interrupts, sleep and what programs must not do, on short programs in machine code.
 * Sources: AVR Instruction Set Manual, Atmel-0856L (cycles for a 16-bit program counter); ATmega48P/88P/168P/328P
 * datasheet, Atmel 8025, CPU core: interrupt response 4 cycles, RETI 4, one instruction after SEI and RETI; sleep 4 more.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { ChipName } from '../../../../models/board/avr/chips.ts';
import type { Core } from '../../../../models/board/avr/core.ts';
import { ADCSRA } from './example-bus.ts';
import { brne, CLI, coreOf, ldi, lds, NOP, out, pop, push, RET, RETI, rjmp, SEI, SLEEP, sts } from './machine-code.ts';
import { immediate, one, two } from './one-instruction.ts';

/** Cycles that the last instruction of `words` takes, run after the others (which take `before`). */
function cyclesAfter(words: readonly number[], before: number, chip: ChipName = 'atmega328p'): number {
  const { core } = coreOf(words, { chip });
  core.run(before);
  expect(core.cycle()).toBe(before);
  core.run(before + 1);
  return core.cycle() - before;
}

describe('core: cycles', () => {
  test.each([
    ['LDS', lds(17, 0x200), 2],
    ['STS', sts(0x200, 17), 2],
    ['LDS of a hooked register', lds(17, 0xc6), 2],
    ['IN', [0xb11e], 1],
    ['IN of a hooked register', [0xb526], 1],
    ['OUT', [0xb91e], 1],
    ['SBI', [0x9af0], 2],
    ['SBI of a hooked register', [0x9a28], 2],
    ['CBI', [0x98f0], 2],
    ['LPM', [0x95c8], 3],
    ['LPM Z+', [0x9115], 3],
    ['PUSH', [push(17)], 2],
    ['POP', [NOP, pop(17)], 2],
    ['RJMP', [rjmp(5)], 2],
    ['JMP', [0x940c, 5], 3],
    ['RCALL', [0xd005], 3],
    ['CALL', [0x940e, 5], 4],
    ['IJMP', [0x9409], 2],
    ['ICALL', [0x9509], 3],
    ['RET', [RET], 4],
    ['RETI', [RETI], 4],
    ['MOVW', [0x0112], 1],
    ['ADIW', [0x9601], 2],
    ['MUL', [two(0b100111, 17, 18)], 2],
    ['WDR', [0x95a8], 1],
    ['BREAK', [0x9598], 1],
    ['SLEEP without its enable bit', [SLEEP], 1],
    ['BRNE not taken', [one(10, 17), brne(3)], 2],
    ['SBRC over one word', [0xfd10, NOP], 2],
    ['SBRC over two words', [0xfd10, ...sts(0x200, 17)], 3],
    ['SBRS not skipping', [0xff10, NOP], 1],
    ['CPSE over one word', [two(0b000100, 17, 17), NOP], 2],
    ['CPSE over two words', [two(0b000100, 17, 17), ...lds(17, 0x200)], 3],
    ['SBIS of a hooked register, not skipping', [0x9b28, NOP], 1],
    ['SBIC of a hooked register, over two words', [0x9928, ...lds(17, 0x200)], 3],
  ] as const)('%s', (name, words, cycles) => {
    if (name === 'POP') expect(cyclesAfter(words, 1)).toBe(cycles);
    else if (name === 'BRNE not taken') expect(cyclesAfter([ldi(17, 1), ...words], 2)).toBe(1);
    else expect(cyclesAfter(words, 0)).toBe(cycles);
  });

  test('LD and ST take 2 through every pointer and mode', () => {
    for (const low of [0x900c, 0x900d, 0x900e, 0x9009, 0x900a, 0x9001, 0x9002, 0x8008, 0x8000, 0x8809, 0x8405]) {
      for (const store of [0, 0x200]) {
        const pointers = [26, 28, 30].flatMap((pair) => [ldi(pair, 0x10), ldi(pair + 1, 2)]);
        expect(cyclesAfter([...pointers, low | store | 0x40], 6)).toBe(2);
      }
    }
  });

  test('a branch is taken in 2', () => {
    expect(cyclesAfter([ldi(17, 2), one(10, 17), brne(-2)], 2)).toBe(2);
  });

  test('the counter wraps round at the end of the flash, skips included', () => {
    const words = new Array<number>(4096).fill(NOP);
    words[0] = rjmp(-2);
    words[4095] = two(0b000100, 1, 1); // CPSE over the first word
    words[1] = ldi(20, 7);
    const { core } = coreOf(words, { chip: 'atmega88p' });
    core.run(2 + 2 + 1);
    expect([core.registers().pc, core.data[20], core.cycle()]).toEqual([4, 7, 5]);
  });
});

describe('core: memory', () => {
  test('a call leaves the return address with its high byte at the lower address', () => {
    const { core } = coreOf([NOP, 0x940e, 0x0123]);
    core.run(5);
    expect([core.registers().pc, core.registers().sp, core.data[0x8ff], core.data[0x8fe]]).toEqual([
      0x246, 0x8fd, 3, 0,
    ]);
  });

  test('the stack pointer and status register are in the data space', () => {
    const { core } = coreOf([
      ldi(17, 0x34),
      out(0x3d, 17),
      ldi(17, 5),
      ...sts(0x5e, 17),
      ...lds(18, 0x5d),
      ...lds(19, 0x5e),
      SEI,
      ...lds(20, 0x5f),
    ]);
    core.run(12);
    expect([core.data[18], core.data[19], core.data[20], core.registers().sp]).toEqual([0x34, 5, 0x80, 0x534]);
  });

  test('registers are in the data space, through pointers as well', () => {
    const { core } = coreOf([ldi(26, 17), ldi(27, 0), ldi(18, 99), 0x932c, ...lds(19, 17)]);
    core.run(7);
    expect([core.data[17], core.data[19]]).toEqual([99, 99]);
  });

  test('LPM reads the image', () => {
    const { core } = coreOf([ldi(30, 1), ldi(31, 0), 0x9115, 0x9125]);
    core.run(8);
    expect([core.data[17], core.data[18], core.data[30]]).toEqual([ldi(30, 1) >> 8, ldi(31, 0) & 255, 3]);
  });
});

describe('core: what a program should not do is told once a place, with a count', () => {
  const kinds = (core: Core): string[] =>
    core.findings.map((one) => `${one.kind} ${one.cycle} ${one.pc} ${one.address} ${one.count}`);

  test('illegal instruction, self-programming, break', () => {
    const { core } = coreOf([0xff0f, 0x95e8, 0x9598, rjmp(-4)]);
    core.run(10);
    expect(kinds(core)).toEqual(['illegal-instruction 0 0 0 2', 'self-programming 1 2 0 2', 'break 2 4 0 2']);
  });

  test('running out of the image, then round to its start', () => {
    const { core } = coreOf([NOP, NOP]);
    core.run(4);
    expect(kinds(core)).toEqual(['outside-image 2 4 0 1', 'outside-image 3 6 0 1']);
    core.run(16384);
    expect(core.registers().pc).toBe(0);
    expect(core.findings.length).toBe(100);
  });

  test('access outside the memory reads 0 and is lost', () => {
    const { core } = coreOf([ldi(26, 0), ldi(27, 9), 0x911c, 0x931c, ...lds(17, 0x4000)]);
    core.run(8);
    expect(kinds(core)).toEqual([
      'load-outside-memory 2 4 2304 1',
      'store-outside-memory 4 6 2304 1',
      'load-outside-memory 6 8 16384 1',
    ]);
  });

  test('the stack growing into variables, and out of the memory', () => {
    const symbols = [{ name: 'table', address: 0x100, bytes: 0x7f0, memory: 'data', kind: 'object' }] as const;
    const { core } = coreOf([push(1), rjmp(-2)], { symbols });
    core.run(4 * 0x10);
    expect(kinds(core)).toEqual([]);
    core.run(4 * 0x10 + 4);
    expect(kinds(core)).toEqual(['stack-into-data 64 0 2287 1']);
    core.run(4 * 0x801);
    expect(kinds(core)[1]).toBe(`stack-outside-memory ${4 * 0x800} 0 255 1`);
    expect(core.lowestStack()).toBe(0x100);
  });

  test('MUL, JMP and CALL are illegal on the chips without them', () => {
    const { core } = coreOf([two(0b100111, 1, 2), 0x940c], { chip: 'attiny85' });
    core.run(2);
    expect(core.findings.map((one) => one.kind)).toEqual(['illegal-instruction', 'illegal-instruction']);
  });
});

describe('core: interrupts', () => {
  /** Vectors of two words, the ADC's leading to its handler at word 60; the program starts at 64. */
  const program = (main: readonly number[], handler: readonly number[]): number[] => {
    const words = new Array<number>(64).fill(NOP);
    words[0] = rjmp(63);
    words[42] = rjmp(60 - 43);
    handler.forEach((word, index) => {
      words[60 + index] = word;
    });
    return [...words, ...main];
  };
  /** Starts a conversion of 26 cycles with its interrupt on. */
  const start = [ldi(17, 0xc9), ...sts(ADCSRA, 17)];

  test('a conversion interrupts 26 cycles after its start, at the end of the instruction', () => {
    const { core, bus } = coreOf(program([SEI, ...start, rjmp(-1)], [RETI]));
    core.run(100);
    // RJMP 2, SEI 1, LDI 1, STS starting at 4; 4 + 26 = 30, which a loop of 2 from 6 on meets exactly.
    expect(bus.log).toEqual(['4 write 122 201', '30 event 30', '30 vector 21']);
  });

  test('entry takes 4 cycles, clears I and stacks the next instruction; RETI goes back', () => {
    const { core } = coreOf(program([SEI, ...start, rjmp(-1)], [RETI]));
    core.run(31);
    expect([core.cycle(), core.registers()]).toEqual([34, { pc: 84, sp: 0x8fd, sreg: 0 }]);
    core.run(36 + 4);
    expect([core.cycle(), core.registers()]).toEqual([40, { pc: 67 * 2 + 2, sp: 0x8ff, sreg: 0x80 }]);
  });

  test('the instruction after SEI comes before a pending interrupt; CLI there forbids it', () => {
    const wait = [...new Array<number>(30).fill(NOP)];
    const taken = coreOf(program([...start, ...wait, SEI, ldi(20, 1), ldi(21, 2), rjmp(-1)], [RETI]));
    taken.core.run(80);
    // 2 + 1 + 2 + 30, SEI ends at 36, LDI at 37.
    expect(taken.bus.log.at(-1)).toBe('37 vector 21');
    const forbidden = coreOf(program([...start, ...wait, SEI, CLI, ldi(21, 2), rjmp(-1)], [RETI]));
    forbidden.core.run(80);
    expect(forbidden.bus.log.at(-1)).toBe('29 event 29');
  });

  test('one instruction of the program comes between two interrupts', () => {
    // The handler starts the next conversion and waits for its flag: it is pending again at RETI.
    const handler = [...sts(ADCSRA, 17), RETI];
    const words = program([SEI, ...start, one(3, 20), rjmp(-2)], handler);
    const { core, bus } = coreOf(words);
    core.run(600);
    const vectors = bus.log.filter((line) => line.includes('vector')).map((line) => Number(line.split(' ')[0]));
    expect(vectors.length).toBeGreaterThan(10);
    const lone = coreOf(
      program(
        [...start, ...new Array<number>(30).fill(NOP), ...sts(0x6e, 17), SEI, one(3, 20), one(3, 21), rjmp(-1)],
        [RETI],
      ),
    );
    lone.core.run(200);
    expect(lone.core.data[20]).toBe(1);
  });

  test('sleep ends by an interrupt, with 4 cycles more and those of the mode', () => {
    for (const [mode, extra] of [
      [0, 0],
      [2, 100],
    ] as const) {
      const { core, bus } = coreOf(
        program([...start, ldi(18, 1 | (mode << 1)), out(0x33, 18), SEI, SLEEP, rjmp(-1)], [RETI]),
      );
      core.run(20);
      expect([core.isAsleep(), core.cycle()]).toEqual([true, 20]);
      core.run(300);
      expect(bus.log.slice(-2)).toEqual(['29 event 29', `${29 + 4 + extra} vector 21`]);
      expect(core.isAsleep()).toBe(false);
    }
  });

  test('with I off a sleeping core sleeps on', () => {
    const { core } = coreOf(program([...start, ldi(18, 1), out(0x33, 18), SLEEP, rjmp(-1)], [RETI]));
    core.run(1e9);
    expect([core.isAsleep(), core.cycle()]).toEqual([true, 1e9]);
  });
});

describe('core: leaps', () => {
  const counting = [
    ['DEC', [ldi(24, 200), one(10, 24), brne(-2)]],
    ['SBIW', [ldi(24, 0x34), ldi(25, 0x12), 0x9701, brne(-2)]],
    [
      'SUBI and SBCI',
      [
        ldi(18, 0x40),
        ldi(24, 0x42),
        ldi(25, 0x0f),
        immediate(5, 18, 1),
        immediate(4, 24, 0),
        immediate(4, 25, 0),
        brne(-4),
      ],
    ],
  ] as const;
  const state = (core: Core): unknown => ({
    cycle: core.cycle(),
    ...core.registers(),
    data: [...core.data.subarray(0, 0x900)],
  });

  test.each(counting)('law: %s loops end any stretch of time in the same state as without leaping', (_name, words) => {
    const program = [...words, rjmp(-1)];
    fc.assert(
      fc.property(fc.array(fc.nat(30_000), { minLength: 1, maxLength: 6 }), (stretches) => {
        const leaping = coreOf(program).core;
        const plain = coreOf(program, { leaps: false }).core;
        let cycle = 0;
        for (const stretch of stretches) {
          cycle += stretch;
          leaping.run(cycle);
          plain.run(cycle);
          expect(state(leaping)).toEqual(state(plain));
        }
      }),
      { seed: 20261125, numRuns: 60 },
    );
  });

  test('law: loops that wait for a flag, with events anywhere in the pass, are the same without leaping', () => {
    // start: STS ADCSRA; wait: LDS r24; SBRC r24,6; RJMP wait; INC r20; then on to start. A timer's ticks print.
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 7 }),
        fc.nat(8),
        fc.array(fc.nat(5000), { minLength: 1, maxLength: 5 }),
        (prescaler, nops, stretches) => {
          const wait = [...lds(24, ADCSRA), 0xfd86, rjmp(-4)];
          const main = [
            ldi(17, 0xc0 | prescaler),
            ...sts(ADCSRA, 17),
            ...new Array<number>(nops).fill(NOP),
            ...wait,
            one(3, 20),
            rjmp(-8 - nops),
          ];
          const leaping = coreOf(main);
          const plain = coreOf(main, { leaps: false });
          let cycle = 0;
          for (const stretch of stretches) {
            cycle += stretch;
            leaping.core.run(cycle);
            plain.core.run(cycle);
            expect(state(leaping.core)).toEqual(state(plain.core));
          }
          expect(leaping.bus.log).toEqual(plain.bus.log);
        },
      ),
      { seed: 20261125, numRuns: 200 },
    );
  });

  test('a loop that waits a second at 16 MHz is leapt over', () => {
    const { core } = coreOf([rjmp(-1)]);
    const start = process.hrtime.bigint();
    core.run(16e9);
    expect(core.cycle()).toBe(16e9);
    // Without leaping this takes a minute; it is no measure of speed, only proof that it leapt.
    expect(Number(process.hrtime.bigint() - start) / 1e9).toBeLessThan(5);
  });
});

describe('core: snapshots', () => {
  test('law: continuing from a snapshot equals going straight through', () => {
    const words = [
      ldi(17, 0xc2),
      ...sts(ADCSRA, 17),
      ...lds(24, ADCSRA),
      0xfd86,
      rjmp(-4),
      ...lds(25, 0x78),
      push(25),
      rjmp(-11),
    ];
    fc.assert(
      fc.property(fc.nat(3000), fc.nat(3000), (first, second) => {
        const straight = coreOf(words).core;
        straight.run(first);
        const kept = straight.snapshot();
        straight.run(first + second);
        const other = coreOf(words).core;
        other.restore(kept);
        other.run(first + second);
        expect(other.snapshot()).toEqual(straight.snapshot());
      }),
      { seed: 20261125, numRuns: 100 },
    );
  });
});
