#!/usr/bin/env bash
# Pages in a real browser: installs Chromium and what drives it if they are missing, makes pages, looks at them.
set -euo pipefail
cd "$(dirname "$0")"

missing=()
command -v chromium > /dev/null || missing+=(chromium fonts-dejavu-core)
command -v node > /dev/null || missing+=(nodejs)
command -v npm > /dev/null || missing+=(npm)
if [ ${#missing[@]} -gt 0 ]; then
  as_root=; [ "$(id -u)" = 0 ] || as_root=sudo
  $as_root apt-get update -qq
  $as_root apt-get install -y -qq --no-install-recommends "${missing[@]}" > /dev/null
fi
[ -d node_modules/axe-core ] && [ -d node_modules/playwright-core ] || npm install --silent --no-audit --no-fund

node --test film.test.mjs > /dev/null || node --test film.test.mjs

pages=$(mktemp -d)
trap 'rm -rf "$pages"' EXIT
cargo build -q -p sim-cli
feedproof=${CARGO_TARGET_DIR:-../../target}/debug/feedproof

"$feedproof" run --replications 24 --limits 2 --report "$pages/proof.html" > /dev/null
"$feedproof" run long-belts.json --replications 2 --limits 0 --report "$pages/belts.html" > /dev/null
"$feedproof" run starter --replications 10 --report "$pages/starter.html" > /dev/null
"$feedproof" run one-attendant-six-lines --replications 3 --limits 0 --report "$pages/wide.html" > /dev/null
"$feedproof" limits starter --replications 2 --report "$pages/limits.html" > /dev/null
"$feedproof" compare starter --set "track.capacity=30" --replications 10 --report "$pages/compare.html" > /dev/null
"$feedproof" screen starter --replications 2 --report "$pages/screen.html" > /dev/null
"$feedproof" size starter --vary "track.capacity=10..40:10" --smallest --at-most 20 --report "$pages/size.html" > /dev/null
sweeps=../../scenarios/sweeps
"$feedproof" sweep $sweeps/knob-track-and-paths.json --replications 2 --out "$pages/1" --report "$pages/sweep.html" > /dev/null
"$feedproof" sweep $sweeps/knob-what-matters.json --replications 2 --out "$pages/2" --report "$pages/random.html" > /dev/null
"$feedproof" draw --out "$pages/line.svg"
# A file whose texts would be markup if they were not shown as text.
sed -e 's|"title": "|&<script>window.ran = 1</script><img src=x onerror=window.ran=1> |' \
    -e 's|"note": \[|&"</code></pre><script>window.ran = 1</script>",|' \
    -e 's|"id": "track"|"id": "<script>window.ran = 2</script>"|' \
    ../../scenarios/starter.json > "$pages/hostile.json"
"$feedproof" run "$pages/hostile.json" --replications 3 --report "$pages/hostile.html" > /dev/null
node check.mjs "$pages"
