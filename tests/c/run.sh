#!/bin/sh
# The C interface as its users meet it. The library's symbols and the layout of its structs are those of alignment-ffi/abi.txt. Programs in
# C, C++ and C# are built against the header and the libraries, shared and static, and run on the demo car. Their readings are those of the Rust program, bit for bit; their reports are those in expected/,
# which `BLESS=1 sh tests/c/run.sh` rewrites. Then the same programs under the sanitizers and under valgrind.
#
# The consumers run on the demo session and specification, or on the session named by the first argument, which must state
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

not_run() {
    echo "NOT RUN: $1"
}

echo "-- Size"
# What is shipped, without symbols for a debugger. The bound lies just above what it is today: raise it for a reason alone.
if has strip; then
    most=3550000
    strip -o "$build/stripped.so" "$build/libwheel_alignment.so"
    size=$(wc -c < "$build/stripped.so")
    rm "$build/stripped.so"
    echo "shared library, stripped: $size bytes, at most $most"
    [ "$size" -le "$most" ] || exit 1
else
    not_run "the size: there is no strip"
fi

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

echo "-- Symbols and layout"
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
c layout "$build/layout.c" c11 ""
echo "layout: $(grep -c _Static_assert "$build/layout.c") assertions hold; $(wc -l < "$build/exported") symbols, all listed"

echo "-- Consumers"
consumer() {
    printf '%s: ' "$1"
    "$build/$1" "$session" "$specification"
}
for program in measure_json assess structs; do
    source=$here/$program.c
    c $program-c99-shared "$source" c99 "$shared"
    consumer $program-c99-shared
    c $program-c99-static "$source" c99 "$static"
    consumer $program-c99-static
    c $program-c11-shared "$source" c11 "$shared"
    consumer $program-c11-shared
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
    # The size of each struct is what the list says, to which the C compiler was held.
    csharp --sizes > "$build/sizes.txt"
    awk '$1 == "struct" { print $2, $4 }' "$root/alignment-ffi/abi.txt" > "$build/sizeof.txt"
    if ! [ -s "$build/sizes.txt" ] || grep -vxF -f "$build/sizeof.txt" "$build/sizes.txt"; then
        echo "Align.cs: no sizes, or sizes that no struct of C has"
        exit 1
    fi
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

mingw=x86_64-w64-mingw32
if has $mingw-gcc && has $mingw-g++; then
    # Compiled alone: there is no library of Windows here to link. Without -Wconversion, for its isnan turns doubles into floats.
    strict="-Wall -Wextra -Wpedantic -Werror -Wshadow -D__USE_MINGW_ANSI_STDIO=1"
    for source in "$root/examples/c/align.c" "$root/examples/c/live.c" "$here/structs.c"; do
        $mingw-gcc -std=c99 $strict $include -c "$source" -o "$build/windows.o"
    done
    $mingw-gcc -std=c11 $strict $include -c "$build/layout.c" -o "$build/windows.o"
    $mingw-g++ -std=c++17 $strict $include -c "$root/examples/cpp/align.cpp" -o "$build/windows.o"
    echo "for Windows: the examples compile, and the layout is the same; not linked, not run"
else
    not_run "compiling for Windows: there is no $mingw-gcc"
fi

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
    for program in measure_json assess structs; do
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
    $memory "$build/structs-c99-shared" "$session" "$specification"
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
