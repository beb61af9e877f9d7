#!/bin/sh
# The C interface as its users meet it: programs in C, C++ and C# that are built against the header and the libraries, shared and
# static, and run on the demo car. Their readings are those of the Rust program, bit for bit; their reports are those in expected/,
# which `BLESS=1 sh tests/c/run.sh` rewrites. Then the same programs under the sanitizers and under valgrind.
#
# measure_json and assess run on the demo session and specification, or on the session named by the first argument, which must state
# its noise and its method, staged.
#
# What cannot be run for want of a tool is named. Under CI, with root and apt-get, the tools are installed first.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
session=${1:-$root/examples/pulling-car.json}
specification=$root/examples/demo_specification.json
poses=$root/examples/c/pulling-car.txt
target=${CARGO_TARGET_DIR:-$root/target}
case $target in /*) ;; *) target=$root/$target ;; esac
python=${PYTHON:-python3}
cc=${CC:-cc}
cxx=${CXX:-c++}

has() {
    command -v "$1" > /dev/null
}

if [ -n "${CI:-}" ] && [ "$(id -u)" = 0 ] && has apt-get; then
    wanted=
    has "$cxx" || wanted="$wanted g++"
    has valgrind || wanted="$wanted valgrind"
    has mcs && has mono || wanted="$wanted mono-mcs mono-runtime"
    if [ -n "$wanted" ]; then
        export DEBIAN_FRONTEND=noninteractive
        # shellcheck disable=SC2086 # several packages
        { apt-get update -qq && apt-get install -qq -y --no-install-recommends $wanted; } > /dev/null 2>&1 ||
            echo "could not be installed:$wanted"
    fi
fi

CARGO_TARGET_DIR=$target cargo build --quiet --locked --release --manifest-path "$root/alignment-ffi/Cargo.toml"
CARGO_TARGET_DIR=$target cargo build --quiet --locked --example align --manifest-path "$root/Cargo.toml"

build=$(mktemp -d)
trap 'rm -rf "$build"' EXIT
warnings="-g -O1 -Wall -Wextra -Wpedantic -Werror -Wconversion -Wshadow"
include="-I$root/alignment-ffi/include -I$root/examples/c"
# The run-time name of the shared library is the one with the version of its interface.
cp "$target/release/libwheel_alignment.so" "$build/libwheel_alignment.so.0"
ln -s libwheel_alignment.so.0 "$build/libwheel_alignment.so"
shared="-L$build -lwheel_alignment -Wl,-rpath,$build -lpthread -lm"
static="$target/release/libwheel_alignment.a -lpthread -ldl -lm"

# c PROGRAM SOURCE STANDARD LIBRARY [MORE]
c() {
    # shellcheck disable=SC2086 # lists of flags
    $cc -std=$3 -Wstrict-prototypes $warnings ${5:-} $include "$2" -o "$build/$1" $4
}

# cpp PROGRAM SOURCE STANDARD LIBRARY [MORE]
cpp() {
    # shellcheck disable=SC2086 # lists of flags
    $cxx -x c++ -std=$3 $warnings ${5:-} $include "$2" -x none -o "$build/$1" $4
}

not_run() {
    echo "NOT RUN: $1"
}

# Whether what a program printed is what is expected of it; BLESS=1 takes it as it is.
expected() {
    if [ -n "${BLESS:-}" ]; then
        cp "$build/$1" "$here/expected/$2"
    fi
    diff "$here/expected/$2" "$build/$1" || {
        echo "$1: not what tests/c/expected/$2 says"
        exit 1
    }
}

# refused STATUS WORDS PROGRAM...: the exit status, and words of what is said on stderr.
refused() {
    status=$1
    words=$2
    shift 2
    found=0
    "$@" > /dev/null 2> "$build/said" || found=$?
    grep -qF "$words" "$build/said" && [ "$found" = "$status" ] || {
        echo "$*: exit status $found and not $status, or not '$words':"
        cat "$build/said"
        exit 1
    }
}

# The demo car as text, and what happens to a rig: a camera that is blocked in the sweep, a pose that is broken, a stream of frames with
# a blocked wheel and a garbled line.
"$python" "$here/poses_text.py" "$root/examples/pulling-car.json" | cmp - "$poses" || {
    echo "make it anew: python3 tests/c/poses_text.py examples/pulling-car.json > examples/c/pulling-car.txt"
    exit 1
}
grep -v '^sweep .* fr ' "$poses" > "$build/blocked.txt"
awk '/^rolling 1 fl / { $4 = 5 } { print }' "$poses" > "$build/broken.txt"
awk '/^(up|clamp_standoff_mm|loaded_radius_mm|rolling) / { print }
     /^ahead / { order[wheels++] = $3; line[$3] = $0 }
     END {
         for (n = 0; n < 200; n += 1) {
             if (n == 120) print "live 120 fl 1 0 garbled"
             for (w = 0; w < wheels; w += 1) {
                 if (order[w] == "fr" && n >= 60 && n < 80) continue
                 text = line[order[w]]
                 sub(/^ahead 0 /, "live " n " ", text)
                 print text
             }
         }
     }' "$poses" > "$build/stream.txt"
grep -v '^rolling . rl ' "$build/stream.txt" > "$build/never_seen.txt"

echo "-- Consumers of every function, and of the texts"
consumer() {
    printf '%s: ' "$1"
    "$build/$1" "$session" "$specification"
}
for program in measure_json assess; do
    source=$here/$program.c
    c $program-c99-shared "$source" c99 "$shared"
    consumer $program-c99-shared
    c $program-c99-static "$source" c99 "$static"
    consumer $program-c99-static
    if has "$cxx"; then
        cpp $program-c++17-shared "$source" c++17 "$shared"
        consumer $program-c++17-shared
    else
        not_run "$program as C++17: there is no C++ compiler"
    fi
done

echo "-- The examples in C, C++ and C#"
values=
# report PROGRAM...: the demo car, a blocked camera, a broken pose, each by a program that reads the text of poses.
report() {
    "$build/$1" "$poses" > "$build/$1.txt"
    expected "$1.txt" align.txt
    "$build/$1" "$build/blocked.txt" > "$build/$1.txt"
    expected "$1.txt" align_blocked.txt
    refused 1 "rolling[1].fl" "$build/$1" "$build/broken.txt"
    refused 2 "usage" "$build/$1"
    "$build/$1" "$poses" --values > "$build/$1.values"
    values="$values $build/$1.values"
}
# live PROGRAM: the stream of frames.
live() {
    "$build/$1" < "$build/stream.txt" > "$build/$1.txt" 2> /dev/null
    expected "$1.txt" live_stream.txt
    refused 1 "rolling.rl" sh -c '"$1" < "$2"' sh "$build/$1" "$build/never_seen.txt"
}
for kind in c99:shared c99:static c11:shared; do
    standard=${kind%:*}
    eval "library=\$${kind#*:}"
    c "align-$standard-${kind#*:}" "$root/examples/c/align.c" "$standard" "$library"
    report "align-$standard-${kind#*:}"
    c "live-$standard-${kind#*:}" "$root/examples/c/live.c" "$standard" "$library"
    live "live-$standard-${kind#*:}"
done
"$build/live-c99-static" --simulate 3 > "$build/live.txt"
expected live.txt live_simulated.txt
if has "$cxx"; then
    cpp align-c++17-shared "$root/examples/c/align.c" c++17 "$shared"
    report align-c++17-shared
    cpp live-c++17-shared "$root/examples/c/live.c" c++17 "$shared"
    live live-c++17-shared
    cpp align-cpp-shared "$root/examples/cpp/align.cpp" c++17 "$shared"
    report align-cpp-shared
    cpp align-cpp-static "$root/examples/cpp/align.cpp" c++17 "$static"
    report align-cpp-static
    for standard in c++17 c++20; do
        cpp "wrapper-$standard" "$here/wrapper.cpp" $standard "$shared"
        printf '%s: ' "wrapper-$standard"
        "$build/wrapper-$standard" "$poses" "$root/examples/pulling-car.json"
    done
else
    not_run "the C++ wrapper and its example: there is no C++ compiler"
fi
if has mcs && has mono; then
    mcs -warn:4 -warnaserror -out:"$build/Align.exe" "$root/examples/csharp/Align.cs"
    csharp() {
        LD_LIBRARY_PATH=$build mono "$build/Align.exe" "$@"
    }
    c sizes "$here/sizes.c" c99 ""
    "$build/sizes" > "$build/sizes.txt"
    csharp --sizes | diff "$build/sizes.txt" -
    csharp "$root/examples/pulling-car.json" > "$build/csharp.txt"
    expected csharp.txt align.txt
    refused 1 "not_a_session" csharp "$specification"
    csharp "$root/examples/pulling-car.json" --values > "$build/align-csharp.values"
    values="$values $build/align-csharp.values"
else
    not_run "the example in C#: there is no mono with mcs"
fi
"$target/debug/examples/align" --json > "$build/result.json"
# shellcheck disable=SC2086 # a list of files
"$python" "$here/compare.py" "$build/result.json" $values

echo "-- Threads, and what is promised to a measuring loop"
c threads "$here/threads.c" c99 "$shared"
"$build/threads" "$poses" 2
c realtime "$here/realtime.c" c99 "$static" "-Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=posix_memalign"
"$build/realtime" "$poses"

echo "-- Sanitizers: addresses, leaks, undefined behaviour"
sanitizers="-fsanitize=address,undefined -fno-sanitize-recover=all"
echo 'int main(void) { return 0; }' > "$build/empty.c"
# shellcheck disable=SC2086 # lists of flags
if $cc $sanitizers "$build/empty.c" -o "$build/empty" 2> /dev/null && "$build/empty"; then
    for program in measure_json assess; do
        c $program-sanitized "$here/$program.c" c99 "$static" "$sanitizers"
        consumer $program-sanitized
    done
    c align-sanitized "$root/examples/c/align.c" c99 "$static" "$sanitizers"
    report align-sanitized
    c live-sanitized "$root/examples/c/live.c" c99 "$static" "$sanitizers"
    live live-sanitized
    c threads-sanitized "$here/threads.c" c99 "$static" "$sanitizers"
    "$build/threads-sanitized" "$poses" 1
    if has "$cxx"; then
        cpp wrapper-sanitized "$here/wrapper.cpp" c++17 "$static" "$sanitizers"
        printf 'wrapper-sanitized: '
        "$build/wrapper-sanitized" "$poses" "$root/examples/pulling-car.json"
    fi
else
    not_run "the sanitizers: $cc has none"
fi

echo "-- Valgrind: memory, and threads"
if has valgrind; then
    # Not assess: its hundred thousand trials would take minutes.
    memory="valgrind --quiet --error-exitcode=9 --leak-check=full"
    $memory "$build/measure_json-c99-shared" "$session" "$specification"
    $memory "$build/align-c99-shared" "$build/blocked.txt" > "$build/memory.txt"
    expected memory.txt align_blocked.txt
    $memory "$build/live-c99-shared" < "$build/stream.txt" > "$build/memory.txt" 2> /dev/null
    expected memory.txt live_stream.txt
    if has "$cxx"; then
        $memory "$build/wrapper-c++17" "$poses" "$root/examples/pulling-car.json"
    fi
    for tool in helgrind drd; do
        valgrind --quiet --error-exitcode=9 --tool=$tool "$build/threads" "$poses" 0.2
    done
else
    not_run "memcheck, helgrind and drd: there is no valgrind"
fi
