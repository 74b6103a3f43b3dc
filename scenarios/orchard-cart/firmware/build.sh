#!/bin/sh
# Builds what lies beside this script: images, from Debian's gcc-avr, binutils-avr and avr-libc, and modules, from its clang
# and lld. `build.sh FOLDER` puts them elsewhere; `build.sh FOLDER images` or `build.sh FOLDER modules` builds those alone.
set -eu
cd "$(dirname "$0")"
out=${1:-.}
what=${2:-all}
if [ "$what" != modules ]; then
  for name in cart cart-bug; do
    avr-gcc -mmcu=atmega328p -DF_CPU=8000000UL -std=gnu11 -Os -g -gdwarf-3 -gno-record-gcc-switches -Wall -Wextra -fdebug-prefix-map="$PWD"=. \
      -o "$out/$name.elf" "$name.c"
    avr-objcopy -O ihex -R .eeprom -R .fuse -R .lock "$out/$name.elf" "$out/$name.hex"
  done
fi
if [ "$what" != images ]; then
  for name in cart-pass cart-pass-loop; do
    clang --target=wasm32 -std=c11 -O1 -ffreestanding -nostdlib -Wall -Wextra -Wl,--no-entry -Wl,-z,stack-size=4096 -o "$out/$name.wasm" "$name.c"
  done
fi
