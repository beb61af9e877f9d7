#!/bin/sh
# Checks the core with every combination of its features, without warnings.
set -eu

cd "$(dirname "$0")/.."
if cargo clippy --version > /dev/null 2>&1; then
    check() { cargo clippy --quiet --locked --package alignment-core --lib --no-default-features "$@" -- -D warnings; }
else
    echo "clippy: NOT RUN, it is not installed"
    [ -z "${CI:-}" ] || exit 1
    check() { cargo check --quiet --locked --package alignment-core --lib --no-default-features "$@"; }
fi

set -- json record schema simulate nalgebra
subset=0
while [ "$subset" -lt $((1 << $#)) ]; do
    features=
    bit=1
    for feature in "$@"; do
        [ $((subset & bit)) -eq 0 ] || features="$features $feature"
        bit=$((bit * 2))
    done
    check --features "$features" || { echo "refused with the features [$features ]" >&2; exit 1; }
    subset=$((subset + 1))
done
echo "all $subset combinations of features compile without warnings"
