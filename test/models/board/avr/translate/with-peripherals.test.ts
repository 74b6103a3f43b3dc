/** Translated code beside the interpreter with the chip's own peripherals: what stores and loads of registers set off comes at the same cycle. */
import { describe, expect, test } from 'vitest';
import { R, V } from '../../../../../models/board/avr/peripherals/registers.ts';
import { translatedEngine } from '../../../../../models/board/avr/translate/engine.ts';
import { type ChipRig, chipRig, lds, nop, put, puts, reti, rjmp, sbi, sei } from '../peripherals/chip-rig.ts';

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
