/**
 * Every arithmetic instruction against the flag formulas of the manual, bit by bit as they are printed there, over all
 * operands.
 *
 * Source: AVR Instruction Set Manual, Atmel-0856L (11/2016); the formulas of SUB, CPC, COM, DEC and MUL are from memory
 * of it. The opcodes are from the same manual.
 */
import { describe, expect, test } from 'vitest';
import { benchOf, immediate, one, two } from './one-instruction.ts';

/** What an instruction must leave: the result (undefined where it stores none) and the flags that it sets. */
interface Outcome {
  readonly result?: number;
  readonly flags: Partial<Record<'H' | 'V' | 'N' | 'Z' | 'C', boolean>>;
}
type Rule = (d: number, r: number, c: number, z: boolean) => Outcome;

const BIT = { C: 1, Z: 2, N: 4, V: 8, S: 16, H: 32 } as const;
const bit = (value: number, index: number): boolean => ((value >> index) & 1) === 1;

/** The status register after `outcome`: flags not named stay, S is always N xor V where either is set. */
function sregAfter(before: number, { flags }: Outcome): number {
  let sreg = before;
  const put = (mask: number, on: boolean): void => {
    sreg = on ? sreg | mask : sreg & ~mask;
  };
  for (const name of ['C', 'Z', 'N', 'V', 'H'] as const) {
    const flag = flags[name];
    if (flag !== undefined) put(BIT[name], flag);
  }
  if (flags.N !== undefined) put(BIT.S, flags.N !== flags.V);
  return sreg;
}

const adding =
  (carryIn: boolean): Rule =>
  (d, r, c) => {
    const R = (d + r + (carryIn ? c : 0)) & 255;
    const at = (index: number): boolean =>
      (bit(d, index) && bit(r, index)) || (bit(r, index) && !bit(R, index)) || (!bit(R, index) && bit(d, index));
    const V = (bit(d, 7) && bit(r, 7) && !bit(R, 7)) || (!bit(d, 7) && !bit(r, 7) && bit(R, 7));
    return { result: R, flags: { H: at(3), V, N: bit(R, 7), Z: R === 0, C: at(7) } };
  };
const subtracting =
  (carryIn: boolean, stores: boolean): Rule =>
  (d, r, c, z) => {
    const R = (d - r - (carryIn ? c : 0)) & 255;
    const at = (index: number): boolean =>
      (!bit(d, index) && bit(r, index)) || (bit(r, index) && bit(R, index)) || (bit(R, index) && !bit(d, index));
    const V = (bit(d, 7) && !bit(r, 7) && !bit(R, 7)) || (!bit(d, 7) && bit(r, 7) && bit(R, 7));
    const flags = { H: at(3), V, N: bit(R, 7), Z: R === 0 && (!carryIn || z), C: at(7) };
    return stores ? { result: R, flags } : { flags };
  };
const logic =
  (of: (d: number, r: number) => number): Rule =>
  (d, r) => {
    const R = of(d, r) & 255;
    return { result: R, flags: { V: false, N: bit(R, 7), Z: R === 0 } };
  };
const shifting =
  (of: (d: number, c: number) => number): Rule =>
  (d, _r, c) => {
    const R = of(d, c) & 255;
    const N = bit(R, 7);
    const C = bit(d, 0);
    return { result: R, flags: { V: N !== C, N, Z: R === 0, C } };
  };

const AND = logic((d, r) => d & r);
const OR = logic((d, r) => d | r);
const NEG: Rule = (d) => {
  const R = -d & 255;
  return { result: R, flags: { H: bit(R, 3) || bit(d, 3), V: R === 0x80, N: bit(R, 7), Z: R === 0, C: R !== 0 } };
};
const COM: Rule = (d) => ({ result: 255 - d, flags: { V: false, N: !bit(d, 7), Z: d === 255, C: true } });
const INC: Rule = (d) => ({ result: (d + 1) & 255, flags: { V: d === 0x7f, N: bit(d + 1, 7), Z: d === 255 } });
const DEC: Rule = (d) => ({ result: (d - 1) & 255, flags: { V: d === 0x80, N: bit(d - 1, 7), Z: d === 1 } });

/** Runs all operands, both carries and both old Z through registers 17 and 18 (or the constant), all other flags set both ways. */
function checkAll(word: (r: number) => number, rule: Rule, isConstant: boolean, operands: 'both' | 'one'): void {
  const benches = isConstant ? Array.from({ length: 256 }, (_, r) => benchOf([word(r)])) : [benchOf([word(0)])];
  let wrong = 0;
  for (let r = 0; r < (operands === 'both' ? 256 : 1); r++) {
    const bench = benches[isConstant ? r : 0]!;
    const { data } = bench.machine;
    for (let d = 0; d < 256; d++) {
      for (const before of [0, BIT.C, BIT.Z, BIT.C | BIT.Z, 0x7f, 0x7f & ~BIT.C, 0x7f & ~BIT.Z]) {
        data[17] = d;
        data[18] = r;
        const cycles = bench.step(before);
        const outcome = rule(d, r, before & 1, (before & 2) !== 0);
        const isRight =
          cycles === 1 && data[17] === (outcome.result ?? d) && bench.sreg() === sregAfter(before, outcome);
        if (!isRight && wrong++ === 0)
          expect
            .soft({ d, r, before, cycles, result: data[17], sreg: bench.sreg() })
            .toEqual({ ...outcome, sreg: sregAfter(before, outcome) });
      }
    }
  }
  expect(wrong).toBe(0);
}

describe('flags: two registers', () => {
  test.each([
    ['ADD', 0b000011, adding(false)],
    ['ADC', 0b000111, adding(true)],
    ['SUB', 0b000110, subtracting(false, true)],
    ['SBC', 0b000010, subtracting(true, true)],
    ['CP', 0b000101, subtracting(false, false)],
    ['CPC', 0b000001, subtracting(true, false)],
    ['AND', 0b001000, AND],
    ['OR', 0b001010, OR],
    ['EOR', 0b001001, logic((d, r) => d ^ r)],
  ] as const)('%s', (_name, opcode, rule) => checkAll(() => two(opcode, 17, 18), rule, false, 'both'));

  test('LSL and ROL are ADD and ADC of a register with itself: H is bit 3, V is N xor C', () => {
    for (const [opcode, carryIn] of [
      [0b000011, 0],
      [0b000111, 1],
    ] as const) {
      const bench = benchOf([two(opcode, 17, 17)]);
      for (let d = 0; d < 256; d++) {
        for (const before of [0, 1]) {
          bench.machine.data[17] = d;
          bench.step(before);
          const R = (d * 2 + carryIn * before) & 255;
          const flags = { H: bit(d, 3), V: bit(R, 7) !== bit(d, 7), N: bit(R, 7), Z: R === 0, C: bit(d, 7) };
          expect([bench.machine.data[17], bench.sreg()]).toEqual([R, sregAfter(before, { flags })]);
        }
      }
    }
  });
});

describe('flags: register and constant', () => {
  test.each([
    ['SUBI', 0b0101, subtracting(false, true)],
    ['SBCI', 0b0100, subtracting(true, true)],
    ['CPI', 0b0011, subtracting(false, false)],
    ['ANDI', 0b0111, AND],
    ['ORI', 0b0110, OR],
  ] as const)('%s', (_name, opcode, rule) => checkAll((r) => immediate(opcode, 17, r), rule, true, 'both'));
});

describe('flags: one register', () => {
  test.each([
    ['COM', 0, COM],
    ['NEG', 1, NEG],
    ['INC', 3, INC],
    ['DEC', 10, DEC],
    ['LSR', 6, shifting((d) => d >> 1)],
    ['ROR', 7, shifting((d, c) => (d >> 1) | (c << 7))],
    ['ASR', 5, shifting((d) => (d >> 1) | (d & 0x80))],
    ['SWAP', 2, ((d) => ({ result: ((d << 4) | (d >> 4)) & 255, flags: {} })) satisfies Rule],
  ] as const)('%s', (_name, low, rule) => checkAll(() => one(low, 17), rule, false, 'one'));

  test('the worked values of the shifts', () => {
    // LSR 01 -> 00 C1 N0 V1 S1 Z1; ROR 01 with C -> 80 C1 N1 V0 S1; ASR FC -> FE C0 N1 V1 S0; ASR 81 -> C0 C1 N1 V0 S1.
    const run = (low: number, d: number, sreg: number): [number, number] => {
      const bench = benchOf([one(low, 17)]);
      bench.machine.data[17] = d;
      bench.step(sreg);
      return [bench.machine.data[17]!, bench.sreg()];
    };
    expect(run(6, 0x01, 0)).toEqual([0x00, BIT.C | BIT.V | BIT.S | BIT.Z]);
    expect(run(7, 0x01, 1)).toEqual([0x80, BIT.C | BIT.N | BIT.S]);
    expect(run(5, 0xfc, 0)).toEqual([0xfe, BIT.N | BIT.V]);
    expect(run(5, 0x81, 0)).toEqual([0xc0, BIT.C | BIT.N | BIT.S]);
  });
});

describe('flags: pairs and products', () => {
  test.each([
    ['ADIW', 0x9600],
    ['SBIW', 0x9700],
  ] as const)('%s over all pairs, with constants from end to end', (name, opcode) => {
    let wrong = 0;
    for (const k of [0, 1, 2, 31, 32, 63]) {
      const bench = benchOf([opcode | ((k & 0x30) << 2) | (k & 15)]);
      const { data } = bench.machine;
      for (let d = 0; d < 65536; d += 1) {
        data[24] = d;
        data[25] = d >> 8;
        const cycles = bench.step(BIT.H);
        const R = (name === 'ADIW' ? d + k : d - k) & 0xffff;
        const flags =
          name === 'ADIW'
            ? { V: !bit(d, 15) && bit(R, 15), N: bit(R, 15), Z: R === 0, C: !bit(R, 15) && bit(d, 15) }
            : { V: bit(d, 15) && !bit(R, 15), N: bit(R, 15), Z: R === 0, C: bit(R, 15) && !bit(d, 15) };
        if (cycles !== 2 || (data[24]! | (data[25]! << 8)) !== R || bench.sreg() !== sregAfter(BIT.H, { flags }))
          wrong++;
      }
    }
    expect(wrong).toBe(0);
  });

  const signed = (value: number): number => (value > 127 ? value - 256 : value);
  test.each([
    ['MUL', two(0b100111, 17, 18), (d: number, r: number) => d * r, false],
    ['MULS', 0x0212, (d: number, r: number) => signed(d) * signed(r), false],
    ['MULSU', 0x0312, (d: number, r: number) => signed(d) * r, false],
    ['FMUL', 0x031a, (d: number, r: number) => d * r, true],
    ['FMULS', 0x0392, (d: number, r: number) => signed(d) * signed(r), true],
    ['FMULSU', 0x039a, (d: number, r: number) => signed(d) * r, true],
  ] as const)('%s over all operands', (_name, word, product, isShifted) => {
    const bench = benchOf([word]);
    const { data } = bench.machine;
    let wrong = 0;
    for (let d = 0; d < 256; d++) {
      for (let r = 0; r < 256; r++) {
        data[17] = d;
        data[18] = r;
        const cycles = bench.step(0x3c);
        const whole = product(d, r) & 0xffff;
        const R = isShifted ? (whole << 1) & 0xffff : whole;
        const flags = { Z: R === 0, C: bit(whole, 15) };
        if (cycles !== 2 || (data[0]! | (data[1]! << 8)) !== R || bench.sreg() !== sregAfter(0x3c, { flags })) wrong++;
      }
    }
    expect(wrong).toBe(0);
  });

  test('the worked values of the fractional product', () => {
    // FMULS 80x80 -> 8000 C0 Z0; 40x40 -> 2000 C0; C0x40 -> E000 C1; 7Fx7F -> 7E02 C0. MUL FFxFF -> FE01 C1; 80x02 -> 0100 C0.
    const run = (word: number, d: number, r: number): [number, number] => {
      const bench = benchOf([word]);
      bench.machine.data[17] = d;
      bench.machine.data[18] = r;
      bench.step(0);
      return [bench.machine.data[0]! | (bench.machine.data[1]! << 8), bench.sreg()];
    };
    expect(run(0x0392, 0x80, 0x80)).toEqual([0x8000, 0]);
    expect(run(0x0392, 0x40, 0x40)).toEqual([0x2000, 0]);
    expect(run(0x0392, 0xc0, 0x40)).toEqual([0xe000, 1]);
    expect(run(0x0392, 0x7f, 0x7f)).toEqual([0x7e02, 0]);
    expect(run(two(0b100111, 17, 18), 0xff, 0xff)).toEqual([0xfe01, 1]);
    expect(run(two(0b100111, 17, 18), 0x80, 0x02)).toEqual([0x0100, 0]);
  });
});

describe('flags: single bits', () => {
  test('BSET and BCLR change their own bit, S included, whatever N and V are', () => {
    for (let index = 0; index < 7; index++) {
      for (const before of [0, 0x7f, 0x55, 0x2a]) {
        const set = benchOf([0x9408 | (index << 4)]);
        set.step(before);
        expect(set.sreg()).toBe(before | (1 << index));
        const clear = benchOf([0x9488 | (index << 4)]);
        clear.step(before);
        expect(clear.sreg()).toBe(before & ~(1 << index));
      }
    }
  });

  test('every status register value survives OUT and IN', () => {
    // OUT 0x3F, r17; IN r18, 0x3F
    const bench = benchOf([0xbf1f, 0xb72f]);
    for (let value = 0; value < 256; value++) {
      bench.machine.data[17] = value;
      bench.step(0x80);
      const sreg = bench.sreg();
      bench.step(sreg, 1);
      expect(bench.machine.data[18]).toBe(value);
    }
  });

  test('BST and BLD carry one bit over T', () => {
    for (let from = 0; from < 8; from++) {
      for (let to = 0; to < 8; to++) {
        const bench = benchOf([0xfb10 | from, 0xf920 | to]);
        bench.machine.data[17] = 1 << from;
        bench.machine.data[18] = 0xff & ~(1 << to);
        bench.step(0);
        expect(bench.sreg()).toBe(0x40);
        bench.step(bench.sreg(), 1);
        expect(bench.machine.data[18]).toBe(0xff);
      }
    }
  });
});
