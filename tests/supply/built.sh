#!/usr/bin/env bash
# The bill of materials against what cargo really compiles for the program: bash tests/supply/built.sh TARGET_FOLDER
#
# The bill comes from what cargo says the features come to; the other side from the compiler's own messages. Both name the same crates,
# and the same sources give the same bill.
set -euo pipefail
cd "$(dirname "$0")/../.."
export CARGO_TARGET_DIR=$1
host=$(rustc -vV | sed -n 's/^host: //p')
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cargo run --locked --quiet --example sbom -- "$host" "$work/bill.json"
cargo run --locked --quiet --example sbom -- "$host" "$work/again.json"
cmp "$work/bill.json" "$work/again.json"
# As `tests/run.sh clippy` asks: what that compiled, it need not compile again.
cargo clippy --locked --quiet --lib --bins --message-format json -- -D warnings >"$work/messages.json"
python3 - "$work/bill.json" "$work/messages.json" <<'PYTHON'
import json
import sys
from urllib.parse import unquote

bill = json.load(open(sys.argv[1], encoding="utf-8"))
named = {(part["name"], part["version"]) for part in bill["components"]}
built = set()
for line in open(sys.argv[2], encoding="utf-8"):
    message = json.loads(line)
    if message["reason"] == "compiler-artifact":
        # registry+https://…#name@version, or …#version for our own.
        name, _, version = unquote(message["package_id"].rsplit("#", 1)[1]).partition("@")
        if version:
            built.add((name, version))
built = {(name, version) for name, version in built if name != "closewatch"}
missing, too_many = built - named, named - built
print(f"the bill names {len(named)} crates, {len(built)} were built")
for what, parts in (("built and not named", missing), ("named and not built", too_many)):
    for name, version in sorted(parts):
        print(f"{what}: {name} {version}", file=sys.stderr)
sys.exit(1 if missing or too_many or len(built) < 100 else 0)
PYTHON
