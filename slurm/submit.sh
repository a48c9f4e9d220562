#!/usr/bin/env bash
# Runs a sweep on a Slurm cluster: a job array of parts, and a job that puts them together when all are done.
#
#   slurm/submit.sh SWEEP OUT PARTS [options of `feedproof sweep`]
#
# SWEEP is the sweep file, OUT a folder on a file system that all nodes share; the result is OUT/points.csv,
# OUT/sweep.csv and OUT/sweep.json, byte for byte those of `feedproof sweep SWEEP --out OUT` on one machine. The parts stay in
# OUT/part-1 to OUT/part-PARTS. FEEDPROOF names the program if it is not on the path of the nodes. Slurm's own variables
# (SBATCH_PARTITION, SBATCH_TIMELIMIT, SBATCH_ACCOUNT ...) and CPUS, processors of each part (default 1), say where it runs.
#
# A task whose node is lost or that is preempted is requeued by Slurm, and goes on where its journal ends. If the process on the
# lost node lives on, it still holds the folder of the part: then the new task waits for it, WAIT at most (default 24 h; the
# time limit of the job ends it sooner), and either finds the part done or goes on when the old process ends. What has failed
# for good can be submitted again with the same command: parts that are done are not run again.
set -euo pipefail
[ $# -ge 3 ] || { sed -n '2,4s/^# \{0,1\}//p' "$0" >&2; exit 2; }
here=$(cd "$(dirname "$0")" && pwd)
sweep=$(realpath "$1") parts=$3
mkdir -p "$2"
out=$(realpath "$2")
shift 3
export FEEDPROOF=${FEEDPROOF:-feedproof}

array=$(sbatch --parsable --requeue --array="1-$parts" --cpus-per-task="${CPUS:-1}" --job-name=sweep \
  --output="$out/part-%a.log" --open-mode=append "$here/part.sh" "$sweep" "$out" "$parts" "$@")
array=${array%%;*}
merge=$(sbatch --parsable --requeue --dependency="afterok:$array" --kill-on-invalid-dep=yes --job-name=sweep-merge \
  --output="$out/merge.log" --open-mode=append "$here/merge.sh" "$out" "$parts")
printf 'parts %s, merge %s\n' "$array" "${merge%%;*}"
