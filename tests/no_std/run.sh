#!/bin/sh
# Builds a program without the standard library on the core: bare, then with every feature that needs none. It fails when it does not
# link, when something below the core brings the standard library in, or when the program does not read its car back.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
target=${CARGO_TARGET_DIR:-$root/target}
case $target in /*) ;; *) target=$root/$target ;; esac
cd "$here"

for features in "" more; do
    CARGO_TARGET_DIR=$target/no_std cargo build --quiet --locked --features "$features"
    # One argument more, one degree of camber more.
    "$target/no_std/debug/no-std-program"
    "$target/no_std/debug/no-std-program" more
    # What runs in the compiler alone, the macros, may use the standard library.
    if cargo tree --quiet --locked --edges normal,features,no-proc-macro --features "$features" | grep 'feature "std"'; then
        echo "the standard library comes in by the features above" >&2
        exit 1
    fi
    echo "no_std${features:+, with $features features}: it links, and reads its car back"
done
