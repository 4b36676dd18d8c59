#!/usr/bin/env bash
# Known faults of what the program is built from: bash tests/supply/advisories.sh FOLDER
#
# FOLDER is laid out as cargo-deny keeps its databases (a git clone in a folder with cargo-deny's name for it). Nothing is fetched.
set -euo pipefail
cd "$(dirname "$0")/../.."
folder=$(cd "$1" && pwd)
newest=$(find "$folder" -type f -name '*.md' -printf '%T@\n' | sort -n | tail -1 | cut -d. -f1)
if [ -z "$newest" ]; then
  echo "$folder holds no advisories" >&2
  exit 1
fi
days=$((($(date +%s) - newest) / 86400))
echo "the advisories are $days days old"
[ "$days" -le 14 ] || echo "WARNING: older than 14 days; bring a newer copy" >&2
settings=$(mktemp)
trap 'rm -f "$settings"' EXIT
cat deny.toml - >"$settings" <<TOML

[advisories]
db-path = "$folder"
TOML
cargo deny --locked check --config "$settings" --disable-fetch advisories
