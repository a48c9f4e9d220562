#!/usr/bin/env bash
# One task of the job array: one part of the sweep. See submit.sh.
set -euo pipefail
sweep=$1 out=$2 parts=$3
shift 3
exec "$FEEDPROOF" sweep "$sweep" --out "$out/part-$SLURM_ARRAY_TASK_ID" --part "$SLURM_ARRAY_TASK_ID/$parts" \
  --threads "${SLURM_CPUS_PER_TASK:-1}" --wait "${WAIT:-24 h}" "$@"
