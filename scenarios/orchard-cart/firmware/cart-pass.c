/*
 * The orchard cart's control pass on its own: pedal in, compare value out. It knows no chip, so that it can be built for
 * the bench (as WebAssembly) and, with jackstand.h written out for the chip, for the board.
 *
 * One step of the compare value is 32 us, and fast PWM counts the tick of the match as well: 46 gives 1504 us.
 */
#include "jackstand.h"

enum {
  NEUTRAL = 46,
  FULL = 62,
  REST_COUNT = 190, /* a little above what the pedal gives at rest */
  FULL_COUNT = 828,
  LEAST_COUNT = 60, /* below and above: a broken or shorted wire */
  MOST_COUNT = 960,
  BROKEN_PASSES = 3,
  LAMP = 5
};

static int32_t broken_passes;

static int32_t compare_of(int32_t count) {
  if (count <= REST_COUNT) return NEUTRAL;
  if (count >= FULL_COUNT) return FULL;
  return NEUTRAL + (count - REST_COUNT) * (FULL - NEUTRAL) / (FULL_COUNT - REST_COUNT);
}

__attribute__((noinline)) static void drive(int32_t count) {
  if (count >= LEAST_COUNT && count <= MOST_COUNT) broken_passes = 0;
  else broken_passes += 1;
  set_pin(LAMP, broken_passes > 0);
  if (broken_passes >= BROKEN_PASSES) set_compare(NEUTRAL);
  else if (broken_passes == 0) set_compare(compare_of(count));
}

void init(void) { set_compare(NEUTRAL); }

void pass(void) { drive(read_count()); }
