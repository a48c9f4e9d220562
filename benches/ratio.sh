#!/usr/bin/env bash
# Whole-process time of feedproof against another program that runs the same shifts, in turn, several times.
#
#   benches/ratio.sh SCENARIO SHIFTS ROUNDS OTHER [ARG ...]
#
# OTHER has to run as many shifts of the same line in one thread. Prints the ratio of each round (ours / other)
# and their median: on a shared machine only a ratio within the same minute says anything.
set -euo pipefail
[ $# -ge 4 ] || { sed -n '2,8p' "$0"; exit 2; }
scenario=$1 shifts=$2 rounds=$3
shift 3
cd "$(dirname "$0")/.."
cargo build --release -q
seconds() { local from=$EPOCHREALTIME; "$@" > /dev/null 2>&1; echo "$EPOCHREALTIME $from" | awk '{printf "%.4f", $1 - $2}'; }
for _ in $(seq "$rounds"); do
    ours=$(seconds target/release/feedproof run "$scenario" --replications "$shifts" --threads 1 --json)
    theirs=$(seconds "$@")
    echo "$ours $theirs" | awk '{printf "%.3f  (ours %.3f s, other %.3f s)\n", $1 / $2, $1, $2}'
done | sort -n | tee /dev/stderr | awk '{r[NR] = $1} END {print "median ratio", r[int((NR + 1) / 2)]}'
