#!/usr/bin/env bash
# Wall time and processor time of a sweep, on one thread and on two: 200 points until each mean rate is known to 0.3 %.
#   benches/sweep.sh [PROGRAM [SWEEP [THREADS ...]]]
set -euo pipefail
here=$(cd "$(dirname "$0")/.." && pwd)
program=$(realpath "${1:-$here/target/release/feedproof}")
sweep=$(realpath "${2:-$here/scenarios/sweeps/starter-200.json}")
threads=("${@:3}")
[ ${#threads[@]} -gt 0 ] || threads=(1 2)
out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT
TIMEFORMAT='%R s wall, %U s processor'
for n in "${threads[@]}"; do
  printf '%s threads: ' "$n"
  time "$program" sweep "$sweep" --out "$out/$n" --threads "$n" >/dev/null
  cmp "$out/${threads[0]}/sweep.csv" "$out/$n/sweep.csv"
done
awk -F, 'NR > 1 {n[$6]++; shifts += $7} END {for (state in n) printf "%d points %s; ", n[state], state; print shifts " shifts"}' \
  "$out/${threads[0]}/points.csv"
