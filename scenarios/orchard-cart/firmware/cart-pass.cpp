/*
 * The orchard cart's control pass in C++: the same law as in cart-pass.c, with its numbers and its memory in objects.
 *
 * One step of the compare value is 32 us, and fast PWM counts the tick of the match as well: 46 gives 1504 us.
 */
#include "jackstand.h"

namespace {

constexpr int32_t neutral = 46;
constexpr int32_t lamp = 5;

/** A straight line between two points, level outside of them. */
struct Line {
  int32_t fromCount, toCount, from, to;

  constexpr int32_t at(int32_t count) const {
    if (count <= fromCount) return from;
    if (count >= toCount) return to;
    return from + (count - fromCount) * (to - from) / (toCount - fromCount);
  }
};

/** 190 is a little above what the pedal gives at rest. */
constexpr Line law{190, 828, neutral, 62};

/** Tells a broken or shorted wire after so many passes in a row. */
template <int32_t passesMost> class Wire {
 public:
  void see(int32_t count) { badPasses = count >= 60 && count <= 960 ? 0 : badPasses + 1; }
  bool isDoubtful() const { return badPasses > 0; }
  bool isBroken() const { return badPasses >= passesMost; }

 private:
  int32_t badPasses = 0;
};

Wire<3> wire;

__attribute__((noinline)) void drive(int32_t count) {
  wire.see(count);
  set_pin(lamp, wire.isDoubtful());
  if (wire.isBroken()) set_compare(neutral);
  else if (!wire.isDoubtful()) set_compare(law.at(count));
}

}  // namespace

void init() { set_compare(neutral); }

void pass() { drive(read_count()); }
