import fc from 'fast-check';
import { expect, test } from 'vitest';
import { Room } from '../../sim/kernel/room.ts';

const request = fc.record({
  kind: fc.constantFrom('doubles' as const, 'integers' as const, 'bytes' as const),
  // Up to beyond the size of a whole piece.
  count: fc.oneof(fc.nat(50), fc.nat(9000)),
});

test('law: arrays of one room begin as zeros and share no byte', () => {
  fc.assert(
    fc.property(fc.array(request, { maxLength: 40 }), fc.nat(5000), (requests, firstBytes) => {
      const room = new Room(firstBytes);
      const arrays = requests.map(({ kind, count }) => room[kind](count));
      expect(arrays.map(({ length }) => length)).toEqual(requests.map(({ count }) => count));
      for (const [index, array] of arrays.entries()) {
        expect(array.every((value) => value === 0)).toBe(true);
        array.fill(index + 1);
      }
      for (const [index, array] of arrays.entries()) expect(array.every((value) => value === index + 1)).toBe(true);
    }),
  );
});
