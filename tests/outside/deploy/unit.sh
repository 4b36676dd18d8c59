#!/usr/bin/env bash
# Does the server start, and read a photo in a process of its own, with the calls that its unit leaves it? It tries that itself before
# it listens. The same without the call that shuts the process in must not start. bash tests/outside/deploy/unit.sh PROGRAM
set -euo pipefail
cd "$(dirname "$0")/../../.."
program=$(realpath "$1")
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# The calls behind a name of systemd's, groups within groups too.
spelt_out() {
  case "$1" in
    @*) systemd-analyze --no-pager syscall-filter "$1" | sed '1d; s/^ *//; /^#/d; /^$/d' | while read -r name; do spelt_out "$name"; done ;;
    *) echo "$1" ;;
  esac
}

# What the lines of a unit come to, as systemd.exec(5) has it: the first begins a list, one with a ~ takes away from it.
left_by() {
  local line name
  sed -n 's/^SystemCallFilter=//p' "$1" >"$work/lines"
  : >"$work/list"
  while read -r line; do
    for name in ${line#\~}; do spelt_out "$name"; done | sort -u >"$work/named"
    case "$line" in
      \~*) comm -23 "$work/list" "$work/named" >"$work/next" ;;
      *) sort -u "$work/list" "$work/named" >"$work/next" ;;
    esac
    mv "$work/next" "$work/list"
  done <"$work/lines"
  cat "$work/list"
}

# A program that starts another with the calls of this unit.
filter_of() {
  left_by "$1" | while read -r name; do printf '#ifdef SYS_%s\nALLOW(SYS_%s)\n#endif\n' "$name" "$name"; done >"$2.h"
  cc -DCALLS="\"$2.h\"" -o "$2" tests/outside/deploy/calls.c
  echo "$(grep -c ALLOW "$2.h") calls are left by $(basename "$1")"
}

starts() {
  local port said=$work/said
  port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
  rm -rf "$work/data"
  CLOSEWATCH_DATA="$work/data" CLOSEWATCH_PORT="$port" "$1" "$program" serve >"$said" 2>&1 &
  local server=$!
  for _ in $(seq 150); do
    if grep -q 'listens on' "$said"; then
      kill "$server"
      wait "$server" 2>/dev/null || true
      return 0
    fi
    kill -0 "$server" 2>/dev/null || return 1
    sleep 0.1
  done
  kill -9 "$server"
  return 1
}

filter_of deploy/closewatch.service "$work/unit"
starts "$work/unit" || { echo "it does not start with the calls of its unit:" >&2; cat "$work/said" >&2; exit 1; }
sed 's/^SystemCallFilter=@system-service seccomp$/SystemCallFilter=@system-service/; s/^SystemCallFilter=~/&seccomp /' \
  deploy/closewatch.service >"$work/without.service"
filter_of "$work/without.service" "$work/without"
if starts "$work/without"; then echo "it starts where no process can be shut in" >&2; exit 1; fi
grep -q 'cannot be shut in' "$work/said" || { echo "it does not say why:" >&2; cat "$work/said" >&2; exit 1; }
echo "it starts with the calls of its unit, photos read in a process of their own, and not where that cannot be"
