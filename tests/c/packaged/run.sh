#!/bin/sh
# Installs the C library to a prefix, moves that elsewhere, and builds a program of somebody else against it: by pkg-config and by CMake, shared
# and static. What must not work is tried as well. CMake and pkg-config come from the Python package index, so that none need be there.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../../.." && pwd)
target=${CARGO_TARGET_DIR:-$root/target}
case $target in /*) ;; *) target=$root/$target ;; esac
export CARGO_TARGET_DIR="$target"

tools=$target/test-packaging
"${PYTHON:-python3}" -m venv --clear "$tools"
"$tools/bin/python" -m pip install --quiet --disable-pip-version-check cmake ninja pkgconf
PATH=$tools/bin:$PATH

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
DESTDIR=$work/packed sh "$root/alignment-ffi/install.sh" /opt/alignment
prefix=$work/prefix
mv "$work/packed/opt/alignment" "$prefix"

fail() {
    echo "packaging: $1" >&2
    exit 1
}
# Says how a program came about, runs it, and looks whether it takes the shared library along.
run() {
    printf '%s: ' "$1"
    "$2"
    if command -v ldd > /dev/null; then
        needs=$(ldd "$2" | grep -c libwheel_alignment || true)
        [ "$needs" -eq "$3" ] || fail "$1: $needs shared libraries are needed instead of $3"
    fi
}
cc=${CC:-cc}
warnings="-std=c99 -Wall -Wextra -Wpedantic -Werror"

export PKG_CONFIG_PATH="$prefix/lib/pkgconfig"
$cc $warnings "$here/main.c" -o "$work/by-pkg-config" $(pkgconf --cflags --libs wheel_alignment) -lm "-Wl,-rpath,$prefix/lib"
run "pkg-config, shared" "$work/by-pkg-config" 1
# Where there is no shared library, the static one is taken.
cp -R "$prefix" "$work/static"
rm "$work/static/lib/"libwheel_alignment.so*
static=$(PKG_CONFIG_PATH=$work/static/lib/pkgconfig pkgconf --static --cflags --libs wheel_alignment)
$cc $warnings "$here/main.c" -o "$work/by-pkg-config-static" $static -lm
run "pkg-config, static" "$work/by-pkg-config-static" 0

configure() {
    build=$1
    shift
    cmake -G Ninja -S "$here" -B "$work/$build" "$@" > "$work/$build.log" 2>&1
}
build() {
    cmake --build "$work/$1" > "$work/$1.log" 2>&1 || {
        cat "$work/$1.log" >&2
        fail "$1 does not build"
    }
}
configure cmake-shared "-DCMAKE_PREFIX_PATH=$prefix"
build cmake-shared
run "CMake, shared" "$work/cmake-shared/packaged" 1
configure cmake-static "-DCMAKE_PREFIX_PATH=$prefix" -DWHEEL_ALIGNMENT_USE_STATIC_LIBS=ON
build cmake-static
run "CMake, static" "$work/cmake-static/packaged" 0

if pkgconf --atleast-version=0.2 wheel_alignment; then
    fail "pkg-config takes the library for a later version"
fi
if configure cmake-later "-DCMAKE_PREFIX_PATH=$prefix" -DWANTED_VERSION=0.2; then
    fail "CMake takes the library for a later version"
fi
grep -q "wheel_alignment" "$work/cmake-later.log" || fail "CMake does not say what it did not find"
if configure cmake-gone "-DCMAKE_PREFIX_PATH=$work/static"; then
    fail "CMake finds a shared library that is not there"
fi
grep -q "is missing" "$work/cmake-gone.log" || fail "CMake does not say which file is missing"
printf 'int wa_hidden(void);\nint main(void)\n{\n    return wa_hidden();\n}\n' > "$work/hidden.c"
if $cc "$work/hidden.c" -o "$work/hidden" $(pkgconf --cflags --libs wheel_alignment) 2> /dev/null; then
    fail "a function that does not exist is linked"
fi
echo "packaging: what must be refused is"
