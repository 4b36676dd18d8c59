#!/usr/bin/env bash
# Would a bad crate be noticed? Copies of the manifest are given one each that must be refused, by the reason it is bad for.
# Needs cargo-deny on the PATH and the crates on this machine; asks nobody else.
set -euo pipefail
cd "$(dirname "$0")/../.."
root=$PWD
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# A copy of the manifest in a folder of its own; its sources are ours.
copy() {
  mkdir -p "$work/$1"
  cp Cargo.toml Cargo.lock deny.toml "$work/$1/"
  for part in src tests benches examples migrations templates static build.rs; do ln -s "$root/$part" "$work/$1/$part"; done
}

# A crate without contents: folder, name, version, licence.
crate() {
  mkdir -p "$1/src"
  printf '[package]\nname = "%s"\nversion = "%s"\nedition = "2024"\nlicense = "%s"\npublish = false\n\n[workspace]\n' "$2" "$3" "$4" \
    >"$1/Cargo.toml"
  : >"$1/src/lib.rs"
}

# Puts a line among the dependencies.
depend() { sed -i "s|^\[dependencies\]$|[dependencies]\n$2|" "$work/$1/Cargo.toml"; }

ask() { (cd "$work/$1" && cargo deny --offline check -D warnings bans licenses sources 2>&1); }

# The copy must be refused, and by this code of cargo-deny's.
refused() {
  local said
  if said=$(ask "$1"); then
    echo "$1: it was let in" >&2
    return 1
  fi
  if ! grep -q "error\[$2\]" <<<"$said"; then
    printf '%s: refused, but not for "%s":\n%s\n' "$1" "$2" "$said" >&2
    return 1
  fi
  echo "refused as it must be: $1 ($2)"
}

copy control
ask control >/dev/null || { echo "the manifest as it is must pass" >&2; ask control >&2; exit 1; }

copy licence
crate "$work/licence-crate" planted 1.0.0 GPL-3.0-only
depend licence "planted = { path = \"$work/licence-crate\", version = \"1\" }"
refused licence rejected

copy banned
crate "$work/banned-crate" openssl-sys 0.9.0 MIT
depend banned "openssl-sys = { path = \"$work/banned-crate\", version = \"0.9\" }"
refused banned banned

copy twice
crate "$work/twice-crate" itoa 0.0.9 MIT
depend twice "itoa = { path = \"$work/twice-crate\", version = \"0.0.9\" }"
refused twice duplicate

copy wildcard
crate "$work/wildcard-crate" planted 1.0.0 MIT
depend wildcard "planted = { path = \"$work/wildcard-crate\", version = \"*\" }"
refused wildcard wildcard

copy source
crate "$work/source-crate" planted 1.0.0 MIT
git -C "$work/source-crate" init -q
git -C "$work/source-crate" add -A
git -C "$work/source-crate" -c user.name=planted -c user.email=planted@practice.example commit -qm planted
depend source "planted = { git = \"file://$work/source-crate\", version = \"1\" }"
# Fetching from this machine's own disk is asking nobody.
(cd "$work/source" && cargo metadata --format-version 1 >/dev/null 2>&1)
refused source source-not-allowed
