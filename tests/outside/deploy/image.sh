#!/usr/bin/env bash
# The image's root, laid out by the script that the container file uses, and tried as a container would: read-only but for the data and
# /tmp, user 65532, no capabilities, no new privileges (safety promise X7). bash tests/outside/deploy/image.sh PROGRAM
set -euo pipefail
cd "$(dirname "$0")/../../.."
program=$(realpath "$1")
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
image="$work/image"
sh deploy/image-root.sh "$program" "$image"

runnable=$(find "$image" -type f -perm /111 ! -name '*.so*' -printf '/%P\n')
if [ "$runnable" != /usr/local/bin/closewatch ]; then
  printf 'the image holds more than the program:\n%s\n' "$runnable" >&2
  exit 1
fi
echo "the image holds the program, $(find "$image" -name '*.so*' | wc -l) libraries and nothing else that runs"

if [ "$(id -u)" -ne 0 ]; then
  echo "not tried inside: mounting needs root"
  exit 0
fi
port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
# Everything inside ends with the namespace.
unshare --mount --pid --fork --kill-child bash -s "$image" "$port" <<'INSIDE'
set -euo pipefail
image=$1 port=$2
mount --bind "$image" "$image"
mount --bind "$image/var/lib/closewatch" "$image/var/lib/closewatch"
mount -t tmpfs -o size=64m,mode=1777 tmpfs "$image/tmp"
# What every container is given.
mkdir "$image/proc" "$image/dev"
: >"$image/dev/null"
mount -t proc proc "$image/proc"
mount --bind /dev/null "$image/dev/null"
mount -o remount,bind,ro "$image"
# By chroot's own switch for the user: it takes every capability away with it.
inside=(setpriv --no-new-privs chroot --userspec=65532:65532 --groups=65532 "$image" /usr/local/bin/closewatch)
if touch "$image/etc/planted" 2>/dev/null; then echo "the root can be written to" >&2; exit 1; fi
"${inside[@]}" --version
export CLOSEWATCH_DATA=/var/lib/closewatch CLOSEWATCH_PORT="$port"
"${inside[@]}" serve >"$image/tmp/said" 2>&1 &
server=$!
for _ in $(seq 100); do
  if "${inside[@]}" healthy >/dev/null 2>&1; then healthy=yes; break; fi
  sleep 0.1
done
if [ "${healthy:-no}" != yes ]; then
  echo "it does not become healthy inside:" >&2
  cat "$image/tmp/said" >&2
  exit 1
fi
if [ "$(stat -c %u "$image/var/lib/closewatch/closewatch.sqlite")" != 65532 ]; then
  echo "it does not run as the user it is meant to" >&2
  exit 1
fi
kill "$server"
wait "$server" 2>/dev/null || true
if "${inside[@]}" healthy >/dev/null 2>&1; then echo "healthy answers for a server that is gone" >&2; exit 1; fi
echo "it runs inside, on a read-only root, as user 65532, and its health check tells life from death"
INSIDE
