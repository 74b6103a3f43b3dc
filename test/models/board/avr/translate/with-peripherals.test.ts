/** Translated code beside the interpreter with the chip's own peripherals: what stores and loads of registers set off comes at the same cycle. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { translatedEngine } from '../../../../../models/board/avr/translate/engine.ts';
import {
  type ChipRig,
  cbi,
  chipRig,
  ldi,
  lds,
  nop,
  out,
  put,
  puts,
  reti,
  rjmp,
  sbi,
  sei,
} from '../peripherals/chip-rig.ts';

/** `pass` over and over, after `setUp`. */
function both(
  setUp: readonly number[],
  pass: readonly number[],
  vectors: Record<number, readonly number[]>,
): ChipRig[] {
  const words = [...setUp, sei, ...pass, rjmp(-pass.length - 1)];
  return [chipRig(words, { vectors }), chipRig(words, { vectors, engine: translatedEngine })];
}

const nops = (count: number): number[] => Array.from({ length: count }, () => nop);

describe('translate: with the peripherals of the chip', () => {
  test.each([0, 1, 4, 7, 11])(
    'a store that makes an interrupt due soon is followed by it at once, also amid short code: %d cycles on',
    (ahead) => {
      const [plain, translated] = both(
        puts([R.DDRB, 1], [R.TIMSK0, 1], [R.TCCR0B, 1]),
        [...put(R.TCNT0, 255 - ahead), ...nops(12), ...lds(20, R.TCNT0), ...nops(2)],
        { [V.TIMER0_OVF]: [sbi(R.PINB, 0), reti] },
      );
      plain!.core.run(20_000);
      translated!.core.run(20_000);
      expect(plain!.edges.length).toBeGreaterThan(100);
      expect(translated!.edges).toEqual(plain!.edges);
      expect(translated!.core.data[20]).toBe(plain!.core.data[20]);
    },
  );
});

describe('translate: ports', () => {
  const PIN = [R.PINB, R.PINC, R.PIND];
  const LISTENING = [R.DDRB, R.DDRC, R.DDRD, R.PCMSK0, R.PCMSK1, R.PCMSK2, R.EIMSK, R.EICRA, R.PCICR, R.MCUCR];
  const TIMING = [R.TCCR0A, R.TCCR0B, R.TCCR1A, R.TCCR1B, R.OCR0A];
  /** Stores to a port of each kind, and now and then to what decides who hears of them. */
  const store = fc.oneof(
    {
      weight: 4,
      arbitrary: fc
        .tuple(fc.constantFrom(sbi, cbi), fc.nat(2), fc.constantFrom(0, 1, 2), fc.nat(7))
        .map(([write, port, kind, bit]) => [write(PIN[port]! + kind, bit)]),
    },
    {
      weight: 4,
      arbitrary: fc
        .tuple(fc.nat(2), fc.constantFrom(0, 2), fc.nat(255))
        .map(([port, kind, value]) => put(PIN[port]! + kind, value)),
    },
    {
      weight: 2,
      arbitrary: fc
        .tuple(fc.nat(2), fc.constantFrom(0, 2), fc.nat(255))
        .map(([port, kind, value]) => [ldi(17, value), out(PIN[port]! + kind, 17)]),
    },
    {
      weight: 2,
      arbitrary: fc.tuple(fc.constantFrom(...LISTENING), fc.nat(255)).map(([address, value]) => put(address, value)),
    },
    {
      weight: 1,
      arbitrary: fc.tuple(fc.constantFrom(...TIMING), fc.nat(255)).map(([address, value]) => put(address, value)),
    },
  );

  test('law: whoever listens or not, the same registers and the same edges after any stores', () => {
    fc.assert(
      fc.property(
        fc.array(store, { minLength: 1, maxLength: 40 }),
        fc.array(fc.constantFrom(0, 2, 0x30, 0xff), { minLength: 3, maxLength: 3 }),
        fc.array(fc.integer({ min: 1, max: 400 }), { minLength: 1, maxLength: 12 }),
        (stores, watched, stretches) => {
          const words = [...puts([R.DDRB, 0xff], [R.DDRC, 0x0f], [R.DDRD, 0xf0]), ...stores.flat()];
          const program = [...words, rjmp(-words.length - 1)];
          const [plain, translated] = [{}, { engine: translatedEngine }].map((kind) =>
            chipRig(program, { watched, ...kind }),
          );
          let cycle = 0;
          for (const stretch of stretches) {
            cycle += stretch;
            plain!.core.run(cycle);
            translated!.core.run(cycle);
            expect(translated!.core.cycle()).toBe(plain!.core.cycle());
            expect(Buffer.from(translated!.core.snapshot().data).equals(plain!.core.snapshot().data)).toBe(true);
            expect(translated!.core.snapshot().bus).toEqual(plain!.core.snapshot().bus);
          }
          expect(translated!.edges).toEqual(plain!.edges);
        },
      ),
      { seed: 20261125, numRuns: 120 },
    );
  });

  test('pins that nobody listens to are toggled without asking the bus; one that is watched is not', () => {
    const pass = [sbi(R.PINB, 5), sbi(R.PORTD, 7), cbi(R.PORTD, 7), ...put(R.PORTC, 3), ...put(R.PORTC, 0)];
    const asked = (watched: readonly number[]): number => {
      const words = [...puts([R.DDRB, 0xff], [R.DDRC, 0xff], [R.DDRD, 0xff]), ...pass];
      let count = 0;
      const { core } = chipRig([...words, rjmp(-pass.length - 1)], {
        watched,
        engine: {
          ...translatedEngine,
          start: (machine, image, rest, access) =>
            translatedEngine.start(machine, image, rest, {
              ...access,
              store(address, value) {
                count += 1;
                access.store(address, value);
              },
              storeBit(address, bits) {
                count += 1;
                access.storeBit(address, bits);
              },
            }),
        },
      });
      core.run(100_000);
      return count;
    };
    expect(asked([0, 0, 0])).toBeLessThan(10);
    // One of the five stores of a pass, whose instructions take 2 + 2 + 2 + 3 + 3 cycles and the jump back 2.
    expect(asked([0x20, 0, 0])).toBeGreaterThan(100_000 / 14 - 10);
    expect(asked([0x20, 0, 0])).toBeLessThan(100_000 / 14 + 10);
  });

  test.each([
    ['an external interrupt', puts([R.EICRA, 1], [R.DDRD, 4]), sbi(R.PIND, 2), R.EIFR, 1],
    ['a timer that counts the pin', puts([R.DDRD, 0x10], [R.TCCR0B, 7]), sbi(R.PIND, 4), R.TCNT0, 8],
    ['a compare output that has the pin', puts([R.DDRD, 0x40], [R.TCCR0A, 0x80]), sbi(R.PIND, 6), R.PIND, 0],
    ['input capture', puts([R.DDRB, 1], [R.TCCR1B, 1]), sbi(R.PINB, 0), R.TIFR1, 0x20],
  ] as const)('%s listens to a pin that is not watched', (_who, setUp, toggle, register, value) => {
    const words = [...setUp, ...new Array<number>(15).fill(toggle), ...lds(20, register), rjmp(-1)];
    const { core } = chipRig(words, { watched: [0, 0, 0], engine: translatedEngine });
    core.run(200);
    expect(core.data[20]! & (register === R.TIFR1 ? 0x20 : 0xff)).toBe(value);
  });

  test('a reset makes the pins inputs: the first toggle after it is a pull-up against what drives the pin', () => {
    const words = [sbi(R.PINB, 5), ...lds(20, R.PINB), ...puts([R.DDRB, 0x20]), sbi(R.PINB, 5), rjmp(-2)];
    const { core, bus } = chipRig(words, { watched: [0, 0, 0], engine: translatedEngine });
    core.run(100);
    bus.ports.drive(0, 5, 0, 100);
    bus.resetBy('external');
    core.run(108);
    expect(core.data[R.DDRB]).toBe(0);
    expect(core.data[R.PORTB]).toBe(0x20);
    expect(core.data[20]).toBe(0);
  });

  test('registers restored from a snapshot take with them who listens', () => {
    const words = [...puts([R.DDRB, 0x20]), sbi(R.PINB, 5), rjmp(-2)];
    const quiet = chipRig(words, { watched: [0, 0, 0], engine: translatedEngine });
    const heard = chipRig([...puts([R.PCMSK0, 0x20], [R.DDRB, 0x20]), sbi(R.PINB, 5), rjmp(-2)], {
      watched: [0, 0, 0],
      engine: translatedEngine,
    });
    heard.core.run(1000);
    quiet.core.run(1000);
    const saved = quiet.core.snapshot();
    // The pin-change flag rises with the first toggle where the mask says so.
    expect(heard.core.data[R.PCIFR]).toBe(1);
    expect(quiet.core.data[R.PCIFR]).toBe(0);
    saved.data[R.PCMSK0] = 0x20;
    quiet.core.restore(saved);
    quiet.core.run(1100);
    expect(quiet.core.data[R.PCIFR]).toBe(1);
  });
});
