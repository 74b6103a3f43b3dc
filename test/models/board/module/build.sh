#!/bin/sh
# Builds the modules of these tests from their sources. `build.sh FOLDER` puts them elsewhere.
set -eu
cd "$(dirname "$0")"
out=${1:-.}
for name in law shapes; do
  clang --target=wasm32 -std=c11 -O1 -mbulk-memory -ffreestanding -nostdlib -Wall -Wextra -Wno-implicit-fallthrough \
    -Wl,--no-entry -Wl,-z,stack-size=4096 -o "$out/$name.wasm" "$name.c"
done
