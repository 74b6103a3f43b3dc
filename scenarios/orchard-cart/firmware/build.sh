#!/bin/sh
# Builds what lies beside this script: images, from Debian's gcc-avr, binutils-avr and avr-libc, and modules, from its clang,
# lld, rustc and libstd-rust-dev-wasm32. `build.sh FOLDER` puts them elsewhere; `build.sh FOLDER images`, or `modules` (C and
# C++), or `rust`, builds those alone. RUSTC names another compiler for Rust.
set -eu
cd "$(dirname "$0")"
out=${1:-.}
what=${2:-all}
builds() { [ "$what" = all ] || [ "$what" = "$1" ]; }
# A program without a system: no library, no `main`, a stack as a small board may have it.
bare='--target=wasm32 -O1 -mbulk-memory -ffreestanding -nostdlib -Wall -Wextra -Wl,--no-entry -Wl,-z,stack-size=4096'
if builds images; then
  for name in cart cart-bug; do
    avr-gcc -mmcu=atmega328p -DF_CPU=8000000UL -std=gnu11 -Os -g -gdwarf-3 -gno-record-gcc-switches -Wall -Wextra -fdebug-prefix-map="$PWD"=. \
      -o "$out/$name.elf" "$name.c"
    avr-objcopy -O ihex -R .eeprom -R .fuse -R .lock "$out/$name.elf" "$out/$name.hex"
  done
fi
if builds modules; then
  for name in cart-pass cart-pass-loop; do
    # shellcheck disable=SC2086
    clang $bare -std=c11 -o "$out/$name.wasm" "$name.c"
  done
  # The last one: static objects are made once, before init, rather than before each call.
  # shellcheck disable=SC2086
  clang++ $bare -std=c++17 -fno-exceptions -fno-rtti -fno-threadsafe-statics -fno-c++-static-destructors \
    -Wl,--export=__wasm_call_ctors -o "$out/cart-pass-cpp.wasm" cart-pass.cpp
fi
if builds rust; then
  "${RUSTC:-rustc}" --target wasm32-unknown-unknown --edition 2021 --crate-type cdylib -O -C panic=abort -C strip=debuginfo \
    -C link-arg=-zstack-size=4096 -o "$out/cart-pass-rust.wasm" cart-pass.rs
fi
