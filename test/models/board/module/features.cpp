/*
 * What C++ brings along beyond C: virtual functions, static objects with constructors, an object made at its first use,
 * templates, members that point to functions, 64-bit and floating arithmetic, arrays that are cleared and copied.
 */
#include "../../../../scenarios/orchard-cart/firmware/jackstand.h"

namespace {

template <typename T, int32_t N> class Ring {
 public:
  void put(T value) {
    values[place] = value;
    place = (place + 1) % N;
  }
  T sum() const {
    T total{};
    for (const T &one : values) total += one;
    return total;
  }
  void clear() { *this = Ring{}; }

 private:
  T values[N] = {};
  int32_t place = 0;
};

struct Law {
  virtual int32_t of(int32_t count) const = 0;
};
struct Slope final : Law {
  explicit Slope(int32_t times) : times(times) {}
  int32_t of(int32_t count) const override { return count * times / 16; }
  int32_t times;
};
struct Level final : Law {
  int32_t of(int32_t) const override { return 46; }
};

void tell(const char *name, int64_t value) {
  char text[40];
  int32_t length = 0;
  while (name[length] != 0) {
    text[length] = name[length];
    length += 1;
  }
  char digits[24];
  int32_t count = 0;
  for (uint64_t rest = value < 0 ? -static_cast<uint64_t>(value) : static_cast<uint64_t>(value); rest > 0 || count == 0; rest /= 10)
    digits[count++] = static_cast<char>('0' + rest % 10);
  if (value < 0) text[length++] = '-';
  while (count > 0) text[length++] = digits[--count];
  text[length++] = '\n';
  print(text, length);
}

/** Told when it is made: once, and before `init`. */
struct Counter {
  Counter() : passes(read_pin(2)) { tell("made ", passes); }
  ~Counter() { tell("gone ", passes); }
  int32_t passes;
};

Counter counter;
Slope slope(read_pin(3) + 5);
Level level;
Ring<int32_t, 8> counts;
Ring<int64_t, 3> squares;
Ring<double, 5> shares;

const Law &lawFor(int32_t passes) {
  static const Slope steep(7 + read_pin(1));
  const Law *const laws[] = {&slope, &level, &steep};
  return *laws[passes % 3];
}

struct Lamp {
  void off() { set_pin(pin, 0); }
  void on() { set_pin(pin, 1); }
  int32_t pin;
};
Lamp lamp{6};

}  // namespace

void init() { tell("init ", counter.passes); }

void pass() {
  const int32_t count = read_count();
  counter.passes += 1;
  counts.put(count);
  squares.put(static_cast<int64_t>(count) * count * 1000003);
  shares.put(count / 1023.0);
  if (count == 0) counts.clear();
  void (Lamp::*const does)() = count > 500 ? &Lamp::on : &Lamp::off;
  (lamp.*does)();
  tell("sum ", counts.sum());
  tell("squares ", squares.sum());
  tell("share ", static_cast<int64_t>(shares.sum() * 1e6));
  if (count == 999) fail("count 999\n\033[31mred", 18);
  set_compare(lawFor(counter.passes).of(count));
}
