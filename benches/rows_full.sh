#!/bin/sh
# 5.4 million rows of the axes in fixtures/bench (302 million counts, 2.0 GB): bytes compared with the per-point evaluation, time
# against bare loops that format the same integers, and the most memory the command itself takes. 12 GB of memory for the rivals' integers
# and texts, 4 GB of disk.
# Usage: benches/rows_full.sh [FOLDER]   the folder is where files are written; default target/rows. ROWS_RUNS=N runs each N times (5).
set -eu
cd "$(dirname "$0")/.."
out=${1:-target/rows}
mkdir -p "$out"
out=$(cd "$out" && pwd)

echo "== against bare loops"
ROWS_FULL="$out" cargo bench --quiet --bench rows

echo "== the most memory of the command, at 100 and at 1,000 rows a second of the demo"
cargo build --quiet --release
bin=${CARGO_TARGET_DIR:-target}/release/movewright
for rate in 100 1000; do
    "$bin" rows fixtures/herons/shot.toml --pass beauty --rate "$rate" --out - 2>/dev/null >"$out/rows.csv" &
    pid=$!
    most=0
    while kill -0 "$pid" 2>/dev/null; do
        now=$(sed -n 's/^VmHWM:[[:space:]]*\([0-9]*\) kB/\1/p' "/proc/$pid/status" 2>/dev/null || echo 0)
        [ "${now:-0}" -gt "$most" ] && most=$now
        sleep 0.02
    done
    wait "$pid"
    echo "$rate rows a second: $(wc -c <"$out/rows.csv") bytes, $most kB of memory"
    rm -f "$out/rows.csv"
done
