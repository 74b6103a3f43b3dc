/*
 * Many shapes of code in one module: returns out of nested loops, switch tables, recursion, function pointers, memory that is
 * filled and copied, integers of 64 bits, floats, and variables that last from pass to pass.
 */
#include "../../../../scenarios/orchard-cart/firmware/jackstand.h"

static int32_t history[16];
static uint32_t place;
static int64_t sum = -5;
static double mean;
static float scale = 1.5f;

__attribute__((noinline)) static int32_t find(int32_t wanted) {
  for (int32_t row = 0; row < 4; row += 1) {
    for (int32_t column = 0; column < 4; column += 1) {
      if (history[row * 4 + column] == wanted) return row * 10 + column;
      if (history[row * 4 + column] > 900 && row == 3) return -column;
    }
  }
  return 99;
}

__attribute__((noinline)) static int32_t chosen(int32_t value) {
  switch (value & 7) {
    case 0: return value + 3;
    case 1: return value * 5;
    case 2: break;
    case 3: value -= 70;
    case 4: return value ^ 0x55;
    case 5: return history[value & 15];
    case 6: value = -value; break;
    default: return 0x7fffffff;
  }
  return value >> 1;
}

__attribute__((noinline)) static int32_t steps_of(int32_t value) {
  return value <= 1 ? value : steps_of(value / 2) + steps_of(value / 3) + 1;
}

static int32_t twice(int32_t value) { return 2 * value; }
static int32_t less(int32_t value) { return value - 7; }
static int32_t (*const volatile table[])(int32_t) = {twice, less, chosen, find};

__attribute__((noinline)) static uint32_t mixed(void) {
  char text[40];
  __builtin_memset(text, place & 255, sizeof text);
  __builtin_memcpy(text + 3, history, 32);
  uint32_t mix = 2166136261u;
  for (uint32_t index = 0; index < sizeof text; index += 1) mix = (mix ^ (uint8_t)text[index]) * 16777619u;
  return mix;
}

static void tell(int64_t value) {
  char digits[24];
  int32_t at = sizeof digits;
  uint64_t rest = value < 0 ? -(uint64_t)value : (uint64_t)value;
  digits[--at] = '\n';
  do {
    digits[--at] = (char)('0' + rest % 10);
    rest /= 10;
  } while (rest > 0);
  if (value < 0) digits[--at] = '-';
  print(digits + at, (int32_t)sizeof digits - at);
}

void init(void) { set_compare(7); }

void pass(void) {
  int32_t count = read_count();
  history[place & 15] = count;
  place += 1;
  sum = sum * 31 + count;
  mean += (count - mean) / 8;
  scale = scale * 0.75f + (float)count / 3.0f;
  tell(find(count - 1));
  tell(steps_of(count & 255));
  tell(table[count & 3](count));
  tell(mixed());
  tell(sum);
  tell((int64_t)(mean * 1000));
  tell((int64_t)(scale * 1000));
  set_pin(count & 7, count & 8);
  set_compare(chosen(count) + read_pin(3));
}
