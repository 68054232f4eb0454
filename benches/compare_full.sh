#!/bin/sh
# Two logs of 5.4 million rows (56 axes, some 1.9 GB each) compared: time and the most memory.
# Usage: benches/compare_full.sh [FOLDER]   the folder is where the logs are written; default target/compare. COMPARE_ROWS=N takes another number
# of rows (5400000), COMPARE_RUNS=N runs N times (3), COMPARE_KEEP=1 leaves the logs there.
set -eu
cd "$(dirname "$0")/.."
out=${1:-target/compare}
mkdir -p "$out"
out=$(cd "$out" && pwd)
rows=${COMPARE_ROWS:-5400000}
runs=${COMPARE_RUNS:-3}

echo "== writing $rows rows"
program=$(cargo bench --no-run --bench compare 2>&1 | sed -n 's/^ *Executable .*(\(.*\))$/\1/p')
[ -x "$program" ] || { echo "the bench was not built"; exit 1; }
COMPARE_WRITE="$out" COMPARE_ROWS="$rows" "$program"

echo "== comparing"
while [ "$runs" -gt 0 ]; do
    runs=$((runs - 1))
    COMPARE_FILES="$out" "$program" &
    pid=$!
    most=0
    while kill -0 "$pid" 2>/dev/null; do
        now=$(sed -n 's/^VmHWM:[[:space:]]*\([0-9]*\) kB/\1/p' "/proc/$pid/status" 2>/dev/null || echo 0)
        [ "${now:-0}" -gt "$most" ] && most=$now
        sleep 0.02
    done
    wait "$pid"
    echo "$most kB of memory"
done
[ -n "${COMPARE_KEEP:-}" ] || rm -f "$out/logA.csv" "$out/logB.csv"
