#!/bin/sh
# How many readings are right, silent and wrong: benches/reading.sh DIR
#
# DIR is what `generator/make-benchmark DIR` made. Every clip is taught at 10 told moments and read;
# the figures are over all frames whose text is legible, by class, part and channel.
set -eu

[ $# -eq 1 ] || { echo "usage: benches/reading.sh DIR" >&2; exit 2; }
clips=$(cd "$1" && pwd)
cd "$(dirname "$0")/.."
cargo build --quiet --release --example reading_score
score=${CARGO_TARGET_DIR:-target}/release/examples/reading_score

for part in tune held; do
    for clip in "$clips/$part"/*.avi "$clips/$part"/*.mp4; do
        [ -f "$clip" ] || continue
        name=${clip%.*}
        "$score" "$clip" "$name.setup.toml" "$name.readings.csv" 10 |
            sed -n "s|^\([a-z]*\) *right *\([0-9.]*\) %  silent *\([0-9]*\)  wrong *\([0-9]*\)|$part $(basename "$name") \1 \2 \3 \4|p"
    done
done | awk '
    BEGIN { printf "%-5s %-45s %-11s %8s %7s %6s\n", "part", "clip", "channel", "right %", "silent", "wrong" }
    { printf "%-5s %-45s %-11s %8s %7s %6s\n", $1, $2, $3, $4, $5, $6 }'
