#!/usr/bin/env bash
# Wall time and processor time of a decision: one path against two, at 95 %, on one thread and on two.
#   benches/decide.sh [PROGRAM [DESIGN DESIGN [THREADS ...]]]
set -euo pipefail
here=$(cd "$(dirname "$0")/.." && pwd)
program=$(realpath "${1:-$here/target/release/feedproof}")
first=${2:-knob-one-path} second=${3:-knob-two-paths}
threads=("${@:4}")
[ ${#threads[@]} -gt 0 ] || threads=(1 2)
out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT
TIMEFORMAT='%R s wall, %U s processor'
for n in "${threads[@]}"; do
  printf '%s threads: ' "$n"
  time "$program" compare "$first" "$second" --threads "$n" >"$out/$n"
  cmp "$out/${threads[0]}" "$out/$n"
done
head -n 6 "$out/${threads[0]}"
