#!/bin/sh
# Runs every test: the Rust workspace, the consumers in C, C++ and C#, the Python package, and the outside references. Sets up what they
# need under target/, given Rust, Python 3 and a C compiler. What else cannot be run for want of a tool is named.
set -eu

root=$(cd "$(dirname "$0")/.." && pwd)
cd "$root"

echo "== Rust: unit tests, doc tests, invariants, errors, format, program, contract, header"
cargo test --locked

echo "== Features: every combination of the core's, without warnings"
sh tests/features.sh

echo "== Without the standard library: a program that links and measures"
sh tests/no_std/run.sh

echo "== C, C++ and C#: symbols and layout, consumers, sanitizers, valgrind; what the reading path costs"
sh tests/c/run.sh
sh tests/c/reading_cost.sh

echo "== C: installed to a prefix, found by pkg-config and by CMake"
sh tests/c/packaged/run.sh

echo "== Python: the package as a user installs it"
python=${PYTHON:-python3}
if ! "$python" -c "import venv, ensurepip" 2> /dev/null; then
    echo "$python cannot make virtual environments: install its venv package, or name another interpreter in PYTHON" >&2
    exit 1
fi
environment=${CARGO_TARGET_DIR:-$root/target}/test-python
"$python" -m venv --clear "$environment"
"$environment/bin/python" -m pip install --quiet --disable-pip-version-check \
    -r tests/py/requirements.txt -r tests/references/requirements.txt ./alignment-py

echo "== Python: a source distribution, with nothing beside what the package asks for"
sources=${CARGO_TARGET_DIR:-$root/target}/test-python-sources
rm -rf "$sources"
"$environment/bin/maturin" sdist --manifest-path alignment-py/Cargo.toml --out "$sources" > /dev/null
alone=${CARGO_TARGET_DIR:-$root/target}/test-python-alone
"$python" -m venv --clear "$alone"
"$alone/bin/python" -m pip install --quiet --disable-pip-version-check "$sources"/wheel_alignment-*.tar.gz
"$alone/bin/python" tests/alone.py

echo "== Python: the tests of the package, and the outside references"
# The program that the Python tests compare with; the Rust tests built it a moment ago.
ALIGN_PROGRAM=${CARGO_TARGET_DIR:-$root/target}/debug/examples/align \
    "$environment/bin/python" -m pytest -p no:cacheprovider tests/py
# Pages are laid out in a browser. Under CI, with root and apt-get, it is installed first; without one its tests say that they did not run.
if [ -n "${CI:-}" ] && [ "$(id -u)" = 0 ] && command -v apt-get > /dev/null && ! command -v chromium > /dev/null; then
    { apt-get update -qq && apt-get install -qq -y --no-install-recommends chromium fonts-dejavu-core; } > /dev/null 2>&1 ||
        echo "apt-get could not install a browser"
fi
"$environment/bin/python" -m pytest -p no:cacheprovider -rs tests/references

echo "== All tests passed"
