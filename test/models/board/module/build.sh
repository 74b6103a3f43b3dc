#!/bin/sh
# Builds the modules of these tests from their sources. `build.sh FOLDER` puts them elsewhere; `build.sh FOLDER modules` (C and
# C++), or `rust`, builds those alone. RUSTC names another compiler for Rust.
set -eu
cd "$(dirname "$0")"
out=${1:-.}
what=${2:-all}
bare='--target=wasm32 -O1 -mbulk-memory -ffreestanding -nostdlib -Wall -Wextra -Wl,--no-entry -Wl,-z,stack-size=4096'
if [ "$what" != rust ]; then
  for name in law shapes; do
    # shellcheck disable=SC2086
    clang $bare -std=c11 -Wno-implicit-fallthrough -o "$out/$name.wasm" "$name.c"
  done
  # shellcheck disable=SC2086
  clang++ $bare -std=c++17 -fno-exceptions -fno-rtti -fno-threadsafe-statics -fno-c++-static-destructors \
    -Wl,--export=__wasm_call_ctors -o "$out/features-cpp.wasm" features.cpp
fi
if [ "$what" != modules ]; then
  "${RUSTC:-rustc}" --target wasm32-unknown-unknown --edition 2021 --crate-type cdylib --cfg std -C opt-level=s -C lto -C panic=abort \
    -C strip=debuginfo -C link-arg=-zstack-size=16384 -o "$out/features-rust.wasm" features.rs
fi
