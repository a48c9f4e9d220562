#!/usr/bin/env bash
# Installs what the tests need, then runs every check. Stops at the first that fails.
set -euo pipefail
cd "$(dirname "$0")/.."

step() { printf '\n== %s\n' "$*"; }

export CARGO_TERM_COLOR=${CARGO_TERM_COLOR:-auto}
export RUSTDOCFLAGS="${RUSTDOCFLAGS:-} -D warnings"

step "format"
cargo fmt --all --check

# Warnings of the compiler are among the lints; denying them here alone lets all steps share one build.
step "lints"
cargo clippy --workspace --all-targets -- -D warnings

step "documentation"
cargo doc --workspace --no-deps --document-private-items -q

step "tests"
cargo test --workspace -q

step "sim-core without threads"
cargo check -p sim-core --no-default-features -q

step "independent cross-check (Python, simpy)"
bash tests/reference/run.sh

step "pages in a real browser"
bash tests/browser/run.sh

step "benches, quick"
# Optimised across crates they would take minutes more to build; here it is only seen that they run.
cargo bench -p feedproof-benches -q --config 'profile.bench.lto="off"' --config profile.bench.codegen-units=16 -- --quick

step "the default line, as a user starts it"
cargo run --release -q -- run --replications 20 > /dev/null

step "a sweep on a Slurm cluster that loses a node"
bash tests/slurm/run.sh

printf '\nall checks passed\n'
