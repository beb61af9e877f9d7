#!/bin/sh
# What the C function of the reading path costs beyond the same call in Rust, in instructions: at most 100. Counted, not timed, so that it
# says the same on a machine that is busy. Needs valgrind.
set -eu

root=$(cd "$(dirname "$0")/../.." && pwd)
target=${CARGO_TARGET_DIR:-$root/target}
case $target in /*) ;; *) target=$root/$target ;; esac
CARGO_TARGET_DIR=$target cargo build --quiet --locked --release --manifest-path "$root/alignment-ffi/Cargo.toml" --example reading_cost
if ! command -v valgrind > /dev/null; then
    echo "reading_cost: NOT RUN, there is no valgrind"
    exit 0
fi
program=$target/release/examples/reading_cost
for way in rust c c-with-error; do
    "$program" $way 1
done

# Instructions of a run of so many calls.
instructions() {
    valgrind --tool=callgrind --callgrind-out-file=/dev/null "$program" "$1" "$2" 2>&1 |
        sed -n 's/.*Collected : //p'
}

per_call() {
    echo $((($(instructions "$1" 2000) - $(instructions "$1" 1000)) / 1000))
}

rust=$(per_call rust)
through_c=$(per_call c)
with_error=$(per_call c-with-error)
echo "one reading from four poses: $rust instructions in Rust, $through_c through C, $with_error with a wa_error"
# A reading of four poses takes thousands; next to nothing was not counted.
[ "$rust" -gt 1000 ] && [ "$through_c" -ge "$rust" ] && [ "$with_error" -ge "$through_c" ]
[ $((with_error - rust)) -le 100 ] && [ $((through_c - rust)) -le 100 ]
