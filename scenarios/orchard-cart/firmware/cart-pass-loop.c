/*
 * The orchard cart's control pass with a mistake that only shows while it runs: it should come down by two steps in each
 * pass, but does it in a loop, until the value is there. One that is an odd number of steps away is never met.
 */
#include "jackstand.h"

enum { NEUTRAL = 46, FULL = 62, REST_COUNT = 190, FULL_COUNT = 828, STEP = 2 };

static volatile int32_t compare = NEUTRAL;

static int32_t compare_of(int32_t count) {
  if (count <= REST_COUNT) return NEUTRAL;
  if (count >= FULL_COUNT) return FULL;
  return NEUTRAL + (count - REST_COUNT) * (FULL - NEUTRAL) / (FULL_COUNT - REST_COUNT);
}

__attribute__((noinline)) static void ease_to(int32_t wanted) {
  if (wanted >= compare) compare = wanted;
  while (compare != wanted) compare -= STEP;
}

void init(void) { set_compare(compare); }

void pass(void) {
  ease_to(compare_of(read_count()));
  set_compare(compare);
}
