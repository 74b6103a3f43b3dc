/*
 * What a module of firmware logic in C or C++ has of its board, on the bench and, with functions of the same names, on a chip.
 *
 *     clang --target=wasm32 -O1 -mbulk-memory -ffreestanding -nostdlib -Wl,--no-entry -Wl,-z,stack-size=4096 -o cart.wasm cart.c
 *
 * C++ asks for more options, the last of which has static objects made once: see build.sh.
 */
#ifndef JACKSTAND_H
#define JACKSTAND_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#ifdef __wasm__
#define JACKSTAND_GIVES(name) __attribute__((import_module("jackstand"), import_name(#name)))
#define JACKSTAND_CALLS(name) __attribute__((export_name(#name)))
#else
#define JACKSTAND_GIVES(name)
#define JACKSTAND_CALLS(name)
#endif

/* Yours: called once when the program starts (may be left out), and once each control pass. They must come back. */
JACKSTAND_CALLS(init) void init(void);
JACKSTAND_CALLS(pass) void pass(void);

/* The count of the conversion that this pass began with; 0 before the first. */
JACKSTAND_GIVES(read_count) int32_t read_count(void);
/* Stores the compare value of the timer whose output the controllers listen to. */
JACKSTAND_GIVES(set_compare) void set_compare(int32_t compare);
/* 1 where the pin is high, 0 where it is low; pins have the numbers 0 to 15. */
JACKSTAND_GIVES(read_pin) int32_t read_pin(int32_t pin);
/* Makes a pin high (not 0) or low (0). */
JACKSTAND_GIVES(set_pin) void set_pin(int32_t pin, int32_t level);
/* Width of the latest pulse of the radio receiver in microseconds; 0 where there is none. */
JACKSTAND_GIVES(read_pulse) int32_t read_pulse(void);
/* Microseconds since the program started; after 71 minutes it begins again at 0. */
JACKSTAND_GIVES(time_us) uint32_t time_us(void);
/* Sends so many bytes out of the serial port. */
JACKSTAND_GIVES(print) void print(const char *text, int32_t length);
/* The next byte that has come in over the serial port; -1 where there is none. */
JACKSTAND_GIVES(read_byte) int32_t read_byte(void);
/* Breaks the program off; a finding tells where, with these bytes as its reason. */
JACKSTAND_GIVES(fail) __attribute__((noreturn)) void fail(const char *reason, int32_t length);

#ifdef __cplusplus
}
#endif

#endif
