#!/usr/bin/env bash
# What lies in deploy/, tried with the programs it is for: systemd's own measure, a proxy, and the root of the image.
set -euo pipefail
cd "$(dirname "$0")/../../.."

# How exposed the services are: at most 1.5 of 10 (safety promise X6).
for unit in deploy/*.service; do
  systemd-analyze security --offline=true --no-pager --threshold=15 "$unit" | tail -1
done

# Whether systemd understands every line. It looks for the program too, which is not installed here.
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
for unit in deploy/*.service deploy/*.timer; do
  sed 's#/usr/local/bin/closewatch#/bin/true#' "$unit" >"$folder/$(basename "$unit")"
done
said=$(SYSTEMD_UNIT_PATH="$folder:" systemd-analyze verify --man=no "$folder"/*.service "$folder"/*.timer 2>&1 | grep -F "$folder" || true)
if [ -n "$said" ]; then
  printf 'systemd does not understand:\n%s\n' "$said" >&2
  exit 1
fi
echo "systemd understands every unit"

bash tests/outside/deploy/unit.sh "$CLOSEWATCH_BIN_DIR/../closewatch"
bash tests/outside/deploy/image.sh "$CLOSEWATCH_BIN_DIR/../closewatch"
python3 tests/outside/deploy/proxy.py "$CLOSEWATCH_BIN_DIR/../closewatch"
