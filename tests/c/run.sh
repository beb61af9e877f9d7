#!/bin/sh
# Builds the library, holds its symbols and the layout of its structs to alignment-ffi/abi.txt, then builds each consumer as C99 and C11
# (shared and static library) and, where there is a compiler, as C++17; runs it on the demo session and specification, or on the session named by the first argument, which must state its noise and its method, staged.
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

# What the shared library exports is what the list says, and nothing else.
sed -n 's/^function \([^ ]*\) .*/\1/p' "$root/alignment-ffi/abi.txt" | sort > "$build/listed"
nm -D --defined-only "$build/libwheel_alignment.so" | awk '{ print $3 }' | sort > "$build/exported"
diff "$build/listed" "$build/exported"
readelf -d "$build/libwheel_alignment.so" | grep -q 'SONAME.*\[libwheel_alignment.so.0\]'

# The compiler puts every member where the list says.
{
    echo '#include "wheel_alignment.h"'
    awk '
        $1 == "struct" { print "_Static_assert(sizeof(" $2 ") == " $4 ", \"" $2 "\");" }
        $1 == "member" {
            print "_Static_assert(offsetof(" $2 ", " $3 ") == " $5 ", \"" $2 "." $3 "\");"
            print "_Static_assert(sizeof(((" $2 " *)0)->" $3 ") == " $7 ", \"" $2 "." $3 "\");"
        }' "$root/alignment-ffi/abi.txt"
    echo 'int main(void) { return 0; }'
} > "$build/layout.c"
${CC:-cc} -std=c11 $warnings $include "$build/layout.c" -o "$build/layout"
echo "layout: $(grep -c _Static_assert "$build/layout.c") assertions hold; $(wc -l < "$build/exported") symbols, all listed"

for program in measure_json assess structs; do
    source=$here/$program.c
    ${CC:-cc} -std=c99 -Wstrict-prototypes $warnings $include "$source" -o "$build/$program-c99-shared" $shared
    run $program-c99-shared
    ${CC:-cc} -std=c99 -Wstrict-prototypes $warnings $include "$source" -o "$build/$program-c99-static" $static
    run $program-c99-static
    ${CC:-cc} -std=c11 -Wstrict-prototypes $warnings $include "$source" -o "$build/$program-c11-shared" $shared
    run $program-c11-shared
    if command -v "${CXX:-c++}" > /dev/null; then
        ${CXX:-c++} -x c++ -std=c++17 $warnings $include "$source" -x none -o "$build/$program-cxx17-shared" $shared
        run $program-cxx17-shared
    else
        echo "$program-cxx17-shared: NOT RUN, there is no C++ compiler"
        [ -z "${CI:-}" ] || exit 1
    fi
done
