#!/usr/bin/env bash
# A sweep on a real Slurm cluster, from the scripts in slurm/: a private cluster of three nodes on the loopback of this
# machine (munged, slurmctld and three slurmd started by hand, as root, without systemd or cgroups), one node of which is
# lost in the middle. The result has to be byte for byte that of the same sweep on one machine. Everything that is started
# is stopped by its pid; nothing under /etc is written.
#   tests/slurm/run.sh [PROGRAM]
set -euo pipefail
here=$(cd "$(dirname "$0")/../.." && pwd)
program=$(realpath "${1:-$here/target/release/feedproof}")
dir=$(mktemp -d)
nodes=3 parts=4
port=${PORT:-$((20000 + RANDOM % 9000))}
begun=$(date +%s)
say() { printf '[%3ds] %s\n' "$(($(date +%s) - begun))" "$*"; }
die() { say "FAILED: $*"; tail -n 5 "$dir"/log/*.log "$dir"/result/*.log 2>/dev/null || true; exit 1; }
# Waits until the command is true; so many tenths of a second at most.
until_true() { local n=$1; shift; for _ in $(seq "$n"); do "$@" && return 0; sleep 0.1; done; return 1; }

if [ "$(id -u)" != 0 ]; then
  say "SKIPPED: a cluster of several nodes on one machine needs root"
  exit 0
fi
if ! command -v slurmctld >/dev/null || ! command -v slurmd >/dev/null || ! command -v munged >/dev/null; then
  say "installing slurm-wlm and munge"
  apt-get update -qq >/dev/null
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends slurm-wlm munge >"$dir/apt.log" 2>&1 \
    || { cat "$dir/apt.log"; die "cannot install"; }
fi

# --- everything that was started, stopped at the end by its pid ---
declare -A pid
stop() {
  kill -TERM "$1" 2>/dev/null || return 0
  until_true 50 gone "$1" || kill -KILL "$1" 2>/dev/null || true
}
gone() { ! kill -0 "$1" 2>/dev/null; }
# Whether a process belongs to this cluster, and to a node of it if one is named.
is_ours() {
  tr '\0' '\n' 2>/dev/null <"/proc/$1/environ" | grep -qx "SLURM_CONF=$dir/slurm.conf" || return 1
  [ -z "${2:-}" ] || tr '\0' '\n' 2>/dev/null <"/proc/$1/environ" | grep -qx "SLURMD_NODENAME=$2"
}
cleanup() {
  local status=$? name process
  set +e
  for name in "${!pid[@]}"; do [ "$name" = munged ] || [ "$name" = control ] || stop "${pid[$name]}"; done
  for process in $(pgrep -x slurmstepd) $(pgrep -x feedproof); do is_ours "$process" && kill -KILL "$process"; done
  [ -n "${pid[control]:-}" ] && stop "${pid[control]}"
  [ -n "${pid[munged]:-}" ] && stop "${pid[munged]}"
  if [ $status = 0 ]; then rm -rf "$dir"; else say "kept: $dir"; fi
  exit $status
}
trap cleanup EXIT

# --- munge: a key and a socket of its own ---
chmod 755 "$dir"
mkdir -p "$dir"/{munge,state,log}
head -c 1024 /dev/urandom >"$dir/munge/key"
chown -R munge:munge "$dir/munge"
chmod 755 "$dir/munge"
chmod 400 "$dir/munge/key"
setpriv --reuid=munge --regid=munge --clear-groups munged --foreground --key-file="$dir/munge/key" \
  --socket="$dir/munge/sock" --pid-file="$dir/munge/pid" --log-file="$dir/munge/log" --seed-file="$dir/munge/seed" \
  >"$dir/log/munged.log" 2>&1 &
pid[munged]=$!
answers() { munge -S "$dir/munge/sock" -n 2>/dev/null | unmunge -S "$dir/munge/sock" >/dev/null 2>&1; }
until_true 100 answers || die "munge does not answer"

# --- the cluster ---
cat >"$dir/slurm.conf" <<C
ClusterName=local
SlurmctldHost=localhost(127.0.0.1)
SlurmUser=root
SlurmdUser=root
SlurmctldPort=$port
CommunicationParameters=NoInAddrAny,NoCtldInAddrAny
AuthType=auth/munge
CredType=cred/munge
AuthInfo=socket=$dir/munge/sock,cred_expire=5
StateSaveLocation=$dir/state
SlurmdSpoolDir=$dir/spool.%n
SlurmctldPidFile=$dir/control.pid
SlurmdPidFile=$dir/%n.pid
SlurmctldLogFile=$dir/log/control.log
SlurmdLogFile=$dir/log/%n.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
SwitchType=switch/none
MpiDefault=none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
SchedulerType=sched/backfill
SchedulerParameters=sched_interval=2,bf_interval=2,batch_sched_delay=0
SlurmctldTimeout=10
SlurmdTimeout=6
KillWait=2
MinJobAge=600
ReturnToService=2
JobRequeue=1
SlurmdParameters=config_overrides
AccountingStorageType=accounting_storage/none
NodeName=n[1-$nodes] NodeHostname=localhost NodeAddr=127.0.0.1 Port=[$((port + 1))-$((port + nodes))] CPUs=1 RealMemory=256 State=UNKNOWN
PartitionName=all Nodes=ALL Default=YES MaxTime=60 State=UP
C
# This version knows no `disabled`; the plugin is loaded and never used.
printf 'CgroupPlugin=cgroup/v1\nCgroupAutomount=no\n' >"$dir/cgroup.conf"
export SLURM_CONF=$dir/slurm.conf
slurmctld -D -c >"$dir/log/control.out" 2>&1 &
pid[control]=$!
start_node() {
  mkdir -p "$dir/spool.$1"
  slurmd -D -N "$1" >"$dir/log/$1.out" 2>&1 &
  pid[$1]=$!
}
for n in $(seq $nodes); do start_node "n$n"; done
all_idle() { [ "$(sinfo -h -N -o '%N %T' 2>/dev/null | grep -c ' idle$')" = $nodes ]; }
until_true 300 all_idle || die "the nodes do not come up"
say "$(sinfo -V): $nodes nodes are up"

# --- the sweep, on the cluster: so many shifts that a part takes some seconds, whatever the machine ---
now_ms() { date +%s%3N; }
before=$(now_ms)
"$program" run starter --replications 60 --threads 1 --causes 0 --draws 0 >/dev/null
shifts=$((60 * 4000 / ($(now_ms) - before + 1) / 6))
cat >"$dir/sweep.json" <<S
{"feedproof_sweep": 1, "scenario": "starter", "factors": {
  "track": {"set": "track.length", "low": "0.3 m", "high": "1.5 m", "points": 8},
  "cycle": {"set": "press.cycle", "values": ["0.6 s", "0.7 s", "0.8 s", "1 m"]}},
 "replications": $((shifts < 20 ? 20 : shifts)), "outputs": ["*"]}
S
FEEDPROOF=$program "$here/slurm/submit.sh" "$dir/sweep.json" "$dir/result" $parts | tee "$dir/submitted"
merge=$(sed 's/.* merge //' "$dir/submitted")

# --- node n2 is lost while its part is under way ---
runs_on_n2() { victim=$(squeue -h -r -t R -w n2 -o '%i' | head -1); [ -n "$victim" ]; }
until_true 300 runs_on_n2 || die "nothing runs on n2"
journal="$dir/result/part-${victim##*_}/journal"
under_way() { [ "$(wc -l 2>/dev/null <"$journal" || echo 0)" -ge 3 ]; }
until_true 600 under_way || die "part ${victim##*_} does not get under way"
kill -KILL "${pid[n2]}"
wait "${pid[n2]}" 2>/dev/null || true
unset 'pid[n2]'
# The daemon of the task first, so that nobody reports its end; then the task.
for process in $(pgrep -x slurmstepd); do
  if is_ours "$process"; then
    for child in $(pgrep -P "$process"); do
      if is_ours "$child" n2; then kill -KILL "$process" "$child" $(pgrep -P "$child") 2>/dev/null || true; fi
    done
  fi
done
[ -f "$journal" ] || die "part ${victim##*_} was finished before its node was lost"
say "node n2 is lost with $victim under way, $(($(wc -l <"$journal") - 1)) points of it safe"
is_down() { sinfo -h -n n2 -o %T | grep -q '^down'; }
until_true 300 is_down || die "nobody misses n2"
start_node n2

# --- the result ---
state() { scontrol -o show job "$1" 2>/dev/null | grep -oE 'JobState=[A-Z_]+' | head -1; }
is_over() { case $(state "$merge") in JobState=PENDING | JobState=RUNNING | JobState=COMPLETING | '') return 1 ;; esac; }
until_true 1500 is_over || die "the merge does not end: $(state "$merge")"
[ "$(state "$merge")" = JobState=COMPLETED ] || die "merge: $(state "$merge")"
say "merged; part ${victim##*_} was gone on with: $(grep -h 'going on' "$dir/result/part-${victim##*_}.log" || die 'no second try')"
"$program" sweep "$dir/sweep.json" --out "$dir/alone" >/dev/null
for file in points.csv sweep.csv sweep.json; do
  cmp "$dir/result/$file" "$dir/alone/$file" || die "$file differs from that of one machine"
done
say "passed: byte for byte the sweep of one machine"
