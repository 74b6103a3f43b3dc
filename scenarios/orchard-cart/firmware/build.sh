#!/bin/sh
# Builds the images beside this script, from Debian's gcc-avr, binutils-avr and avr-libc. `build.sh FOLDER` puts them elsewhere.
set -eu
cd "$(dirname "$0")"
out=${1:-.}
for name in cart cart-bug; do
  avr-gcc -mmcu=atmega328p -DF_CPU=8000000UL -std=gnu11 -Os -g -gdwarf-3 -gno-record-gcc-switches -Wall -Wextra -fdebug-prefix-map="$PWD"=. \
    -o "$out/$name.elf" "$name.c"
  avr-objcopy -O ihex -R .eeprom -R .fuse -R .lock "$out/$name.elf" "$out/$name.hex"
done
