#!/usr/bin/env bash
# Fetches the open sets of pictures that corpora.txt names, once, and lays their pictures out: bash corpora.sh FOLDER
#
# pip asks the index it is set up for, apt the mirror of this machine; cargo the registry it is set up for. Each file must have the
# SHA-256 of the list. FOLDER/pictures/PACKAGE/… is what the check reads; FOLDER/ready says which list it comes from.
set -euo pipefail
folder=$1
here=$(cd "$(dirname "$0")" && pwd)
list="$here/corpora.txt"
mark=$(cat "$list" "$here/corpora.sh" | sha256sum)
if [ "$(cat "$folder/ready" 2>/dev/null)" = "$mark" ]; then exit 0; fi
rm -rf "$folder/pictures" "$folder/ready"
mkdir -p "$folder/files" "$folder/pictures"

mirror() {
  apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' 'Origin: Debian' 'Component: main' | grep -v -- '-security' | sed -n 1p
}

has_sum() { echo "$2  $1" | sha256sum --check --status 2>/dev/null; }

# A source distribution. pip looks into it for its needs, which has it fetch what its set-up is written with.
fetch_pip() {
  local lines="$folder/files/wanted.txt"
  echo "$1 --hash=sha256:$2" >"$lines"
  python3 -m pip download --quiet --disable-pip-version-check --no-deps --no-binary "${1%%==*}" --require-hashes \
    --dest "$folder/files" -r "$lines"
}

fetch_debian() {
  local base
  base=$(mirror)
  [ -n "$base" ] || { echo "apt knows no mirror of Debian on this machine" >&2; return 1; }
  /usr/lib/apt/apt-helper -o APT::Sandbox::User=root download-file "$base$1" "$folder/files/$(basename "$1")" "SHA256:$2" >/dev/null
}

# Only what lies in the folders of the list is kept.
lay_out() {
  local file=$1 name=$2 part
  shift 2
  local whole="$folder/unpacked"
  rm -rf "$whole"
  mkdir "$whole"
  case "$file" in
    *.deb) dpkg -x "$file" "$whole" ;;
    *) tar -xf "$file" -C "$whole" --strip-components=1 --no-same-owner ;;
  esac
  for part in "$@"; do
    mkdir -p "$folder/pictures/$name/$(dirname "$part")"
    mv "$whole/$part" "$folder/pictures/$name/$part"
  done
  rm -rf "$whole"
}

while read -r source what sum parts; do
  case "$source" in '#'* | '') continue ;; esac
  case "$source" in
    pip) file="${what%%==*}-${what##*==}.tar.gz" ;;
    debian) file=$(basename "$what") ;;
    *) echo "nobody fetches from $source" >&2; exit 1 ;;
  esac
  if ! has_sum "$folder/files/$file" "$sum"; then
    echo "fetching $file"
    "fetch_$source" "$what" "$sum"
    has_sum "$folder/files/$file" "$sum" || { echo "$file is not the file of the list" >&2; exit 1; }
  fi
  name=${file%.tar.gz}
  name=${name%.orig}
  # shellcheck disable=SC2086 # one word per folder
  lay_out "$folder/files/$file" "${name%.deb}" $parts
done <"$list"
echo "$mark" >"$folder/ready"
