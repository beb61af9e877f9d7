#!/bin/sh
# Builds the C library and puts it where compilers, pkg-config and CMake find it:
#
#     sh alignment-ffi/install.sh PREFIX
#
# PREFIX/include gets the header, PREFIX/lib the shared and the static library, with the files for pkg-config and CMake beside them. Both
# find the prefix by where they lie, so that the tree may be moved, or packed, as a whole. DESTDIR, when set, stands before PREFIX.
set -eu

[ $# -eq 1 ] || {
    echo "usage: sh $0 PREFIX" >&2
    exit 2
}
case $1 in
    /*) prefix=${DESTDIR:-}$1 ;;
    *)
        echo "$0: PREFIX is $1; it must begin with /" >&2
        exit 2
        ;;
esac
here=$(cd "$(dirname "$0")" && pwd)
target=${CARGO_TARGET_DIR:-$here/../target}
case $target in /*) ;; *) target=$PWD/$target ;; esac

# The compiler knows what a static library needs beside itself, and says so as it builds.
told=$(CARGO_TARGET_DIR=$target cargo rustc --quiet --locked --release --lib --manifest-path "$here/Cargo.toml" \
    -- --print native-static-libs 2>&1) || {
    printf '%s\n' "$told" >&2
    exit 1
}
system=$(printf '%s\n' "$told" | sed -n 's/.*native-static-libs: //p')
version=$(sed -n 's/^version = "\(.*\)"/\1/p' "$here/../Cargo.toml")
abi=$(sed -n 's/^#define WA_ABI_VERSION \([0-9]*\).*/\1/p' "$here/include/wheel_alignment.h")

mkdir -p "$prefix/include" "$prefix/lib/pkgconfig" "$prefix/lib/cmake/wheel_alignment" "$prefix/share/licenses/wheel_alignment"
cp "$here/include/"wheel_alignment.h* "$prefix/include/"
# Whoever passes the library on has to pass these on as well.
cp "$here/"LICENSE-* "$prefix/share/licenses/wheel_alignment/"
cp "$target/release/libwheel_alignment.a" "$prefix/lib/"
case $(uname -s) in
    Darwin)
        shared=libwheel_alignment.$abi.dylib
        cp "$target/release/libwheel_alignment.dylib" "$prefix/lib/$shared"
        ln -sf "$shared" "$prefix/lib/libwheel_alignment.dylib"
        ;;
    *)
        # The run-time name holds the version of the interface; the file itself the version of the library.
        shared=libwheel_alignment.so.$abi
        cp "$target/release/libwheel_alignment.so" "$prefix/lib/libwheel_alignment.so.$version"
        ln -sf "libwheel_alignment.so.$version" "$prefix/lib/$shared"
        ln -sf "$shared" "$prefix/lib/libwheel_alignment.so"
        ;;
esac

fill() {
    sed -e "s|@VERSION@|$version|g" -e "s|@SHARED@|$shared|g" -e "s|@SYSTEM@|$system|g" \
        "$here/packaging/$1.in" > "$prefix/lib/$2/$1"
}
fill wheel_alignment.pc pkgconfig
fill wheel_alignment-config.cmake cmake/wheel_alignment
fill wheel_alignment-config-version.cmake cmake/wheel_alignment
