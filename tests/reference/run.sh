#!/usr/bin/env bash
# Runs the cross-check line in feedproof and in simpy, fits published data with both feedproof and scipy, and compares;
# reads workbooks with openpyxl.
set -euo pipefail
cd "$(dirname "$0")/../.."
built=${CARGO_TARGET_DIR:-target}
venv=$built/cross-check-venv
if [ ! -x "$venv/bin/python" ]; then
    command -v python3 > /dev/null || { apt-get update -qq && apt-get install -y -qq python3 python3-venv; }
    python3 -m venv "$venv" 2> /dev/null \
        || { apt-get update -qq && apt-get install -y -qq python3-venv && python3 -m venv "$venv"; }
fi
"$venv/bin/python" -m pip install -q --disable-pip-version-check -r tests/reference/requirements.txt
cargo build --release -q
result=$(mktemp)
trap 'rm -f "$result"' EXIT
"$built/release/feedproof" run tests/reference/cross-check.json --replications 400 --json > "$result" 2> /dev/null
"$venv/bin/python" tests/reference/cross_check.py "$result"
"$venv/bin/python" tests/reference/fit_check.py "$built/release/feedproof"
"$venv/bin/python" tests/reference/workbook_check.py "$(realpath "$built/release/feedproof")"
