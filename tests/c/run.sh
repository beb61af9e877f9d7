#!/bin/sh
# Builds the library, then each consumer as C99 (shared and static library) and, where there is a compiler, as C++17;
# runs it on the demo session and specification, or on the session named by the first argument, which must state its noise and its method, staged.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
session=${1:-$root/examples/pulling-car.json}
target=${CARGO_TARGET_DIR:-$root/target}
case $target in /*) ;; *) target=$root/$target ;; esac
CARGO_TARGET_DIR=$target cargo build --quiet --release --manifest-path "$root/alignment-ffi/Cargo.toml"

build=$(mktemp -d)
trap 'rm -rf "$build"' EXIT
warnings="-O1 -Wall -Wextra -Wpedantic -Werror -Wconversion -Wshadow"
include="-I$root/alignment-ffi/include"
# The run-time name of the shared library is the one with the version of its interface.
cp "$target/release/libwheel_alignment.so" "$build/libwheel_alignment.so.0"
ln -s libwheel_alignment.so.0 "$build/libwheel_alignment.so"
shared="-L$build -lwheel_alignment -Wl,-rpath,$build -lm"
static="$target/release/libwheel_alignment.a -lpthread -ldl -lm"

run() {
    printf '%s: ' "$1"
    "$build/$1" "$session" "$root/examples/demo_specification.json"
}

for program in measure_json assess; do
    source=$here/$program.c
    ${CC:-cc} -std=c99 -Wstrict-prototypes $warnings $include "$source" -o "$build/$program-c99-shared" $shared
    run $program-c99-shared
    ${CC:-cc} -std=c99 -Wstrict-prototypes $warnings $include "$source" -o "$build/$program-c99-static" $static
    run $program-c99-static
    if command -v "${CXX:-c++}" > /dev/null; then
        ${CXX:-c++} -x c++ -std=c++17 $warnings $include "$source" -x none -o "$build/$program-cxx17-shared" $shared
        run $program-cxx17-shared
    else
        echo "$program-cxx17-shared: NOT RUN, there is no C++ compiler"
        [ -z "${CI:-}" ] || exit 1
    fi
done
