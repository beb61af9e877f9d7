#!/bin/sh
# Installs the package into a fresh environment as a user would, and what the tests need; runs the tests.
# Arguments go to pytest. PYTHON chooses the interpreter, ALIGN_PROGRAM an `align` that is built already.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
environment=$(mktemp -d)
trap 'rm -rf "$environment"' EXIT

"${PYTHON:-python3}" -m venv "$environment"
"$environment/bin/python" -m pip install --quiet --disable-pip-version-check -r "$here/requirements.txt" \
    "$root/alignment-py"
cd "$root"
"$environment/bin/python" -m pytest -p no:cacheprovider "$here" "$@"
