#!/usr/bin/env bash
# Puts the parts of the sweep together. See submit.sh.
set -euo pipefail
out=$1 parts=$2
folders=()
for part in $(seq "$parts"); do folders+=("$out/part-$part"); done
exec "$FEEDPROOF" merge "${folders[@]}" --out "$out"
