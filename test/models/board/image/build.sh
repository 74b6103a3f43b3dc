#!/bin/sh
# Builds the images beside this script. `build.sh FOLDER` puts them elsewhere.
set -eu
cd "$(dirname "$0")"
out=${1:-.}
for name in law copy serial paced polls wild keeps; do
  avr-gcc -mmcu=atmega328p -DF_CPU=8000000UL -std=gnu11 -Os -g1 -gdwarf-3 -Wall -Wextra -fno-optimize-sibling-calls \
    -gno-record-gcc-switches -fdebug-prefix-map="$PWD"=. -o "$out/$name.elf" "$name.c"
done
avr-objcopy -O ihex -R .eeprom "$out/wild.elf" "$out/wild.hex"
