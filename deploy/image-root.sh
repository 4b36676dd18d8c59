#!/bin/sh
# Lays out what an image holds: the program, the libraries it is linked with, and nothing that could be run beside it.
#
#   sh deploy/image-root.sh PROGRAM FOLDER
set -eu
program=$1
folder=$2
mkdir -p "$folder/usr/local/bin" "$folder/etc/ssl/certs" "$folder/var/lib/closewatch" "$folder/tmp"
install -m 0555 "$program" "$folder/usr/local/bin/closewatch"
# As the loader finds them, at the very paths it looks at.
ldd "$program" | sed -n 's/.*=> \(\/[^ ]*\) .*/\1/p; s/^[[:space:]]*\(\/[^ ]*ld-linux[^ ]*\) .*/\1/p' | while read -r library; do
  mkdir -p "$folder$(dirname "$library")"
  cp -L "$library" "$folder$library"
done
# Whom to believe when messages go out.
if [ -f /etc/ssl/certs/ca-certificates.crt ]; then
  cp -L /etc/ssl/certs/ca-certificates.crt "$folder/etc/ssl/certs/"
fi
printf 'closewatch:x:65532:65532::/var/lib/closewatch:/nonexistent\n' >"$folder/etc/passwd"
printf 'closewatch:x:65532:\n' >"$folder/etc/group"
chmod 1777 "$folder/tmp"
chown -R 65532:65532 "$folder/var/lib/closewatch" 2>/dev/null || true
chmod 0700 "$folder/var/lib/closewatch"
