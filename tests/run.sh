#!/usr/bin/env bash
# Every check of this project, from a fresh clone, in one command: bash tests/run.sh [section ...]
#
# Sections, in order: tools format clippy supply rust outside browser. Without names, all of them run. `--corpora` is one more, which runs
# only when it is named: it fetches open sets of pictures and has each of them read.
# As root, missing Debian packages are installed; otherwise they are named and the run stops. Python and Node packages, and cargo-deny,
# go to ${XDG_CACHE_HOME:-~/.cache}/closewatch; the checkout gains nothing but target/.
# PostgreSQL runs on a free loopback port in a folder of its own and is gone when the run ends.
set -euo pipefail
cd "$(dirname "$0")/.."

root=$PWD
cache="${XDG_CACHE_HOME:-${HOME:-/tmp}/.cache}/closewatch"
target="${CARGO_TARGET_DIR:-$root/target}"
postgres_folder=""
tests_folder=""
days=""
section="start"
section_began=$SECONDS
export PYTHONDONTWRITEBYTECODE=1

begin() {
  section=$1
  section_began=$SECONDS
  printf '\n=== %s\n' "$section"
}

passed() {
  printf -- '--- %s: passed in %d s\n' "$section" $((SECONDS - section_began))
}

finish() {
  local status=$1
  stop_postgres
  [ -z "$tests_folder" ] || rm -rf "$tests_folder"
  # shellcheck disable=SC2046 # one word per process
  [ -z "$days" ] || kill $(cat /proc/"$days"/task/*/children 2>/dev/null) "$days" 2>/dev/null || true
  if [ "$status" -eq 0 ]; then
    printf '\nAll sections passed in %d s.\n' "$SECONDS"
  else
    printf '\nFAILED in section "%s" after %d s (status %d).\n' "$section" "$SECONDS" "$status" >&2
  fi
}
trap 'finish $?' EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

# --- what must be on the machine -------------------------------------------------------------------------------

newest_postgres_bin() {
  local newest=""
  for folder in $(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V); do
    if [ -x "$folder/initdb" ]; then newest=$folder; fi
  done
  printf '%s' "$newest"
}

has() { command -v "$1" >/dev/null 2>&1; }
# grep reads to the end: one that stops early would break the pipe.
has_font() { has fc-list && fc-list | grep -i "$1" >/dev/null; }

missing_packages() {
  has chromium || echo chromium
  [ -n "$(newest_postgres_bin)" ] || echo postgresql
  has vips || echo libvips-tools
  has exiftool || echo libimage-exiftool-perl
  has pdftotext && has pdftoppm || echo poppler-utils
  has zbarimg || echo zbar-tools
  has systemd-analyze || echo systemd
  has cc || echo gcc libc6-dev
  has mkfs.ext4 || echo e2fsprogs
  has mount && has umount || echo mount
  has fc-list || echo fontconfig
  has_font dejavu || echo fonts-dejavu-core
  has_font liberation || echo fonts-liberation
  python3 -c 'import venv, ensurepip' >/dev/null 2>&1 || echo python3-venv
  has node && has npm || echo nodejs npm
}

install_packages() {
  export DEBIAN_FRONTEND=noninteractive
  apt-get update -q
  # Only the programs of PostgreSQL are wanted, not a server of its own on port 5432.
  if [[ " $* " == *" postgresql "* ]]; then
    apt-get install -y -q --no-install-recommends postgresql-common
    if [ -f /etc/postgresql-common/createcluster.conf ]; then
      sed -ri 's/^#?(create_main_cluster) .*$/\1 = false/' /etc/postgresql-common/createcluster.conf
    fi
  fi
  apt-get install -y -q --no-install-recommends "$@"
}

tools() {
  local missing
  missing=$(missing_packages | tr '\n' ' ')
  if [ -n "$missing" ]; then
    echo "missing: $missing"
    if [ "$(id -u)" -ne 0 ]; then
      echo "Install them, then run this again:  sudo apt-get install --no-install-recommends $missing" >&2
      return 1
    fi
    # shellcheck disable=SC2086 # one word per package
    install_packages $missing
  fi
  if ! has cargo; then
    echo "No cargo here: install the Rust toolchain (1.94 or newer), then run this again." >&2
    return 1
  fi
  if ! cargo fmt --version >/dev/null 2>&1 || ! cargo clippy --version >/dev/null 2>&1; then
    rustup component add rustfmt clippy
  fi
  cargo --version
  chromium --version 2>/dev/null
  "$(newest_postgres_bin)/postgres" --version
  echo "node $(node --version), $(python3 --version)"
}

# --- PostgreSQL for the tests ----------------------------------------------------------------------------------

# The server refuses to run as root.
as_postgres() {
  if [ "$(id -u)" -eq 0 ]; then
    (cd "$postgres_folder" && runuser -u postgres -- "$@")
  else
    (cd "$postgres_folder" && "$@")
  fi
}

# Where what need not outlive the run is kept: in memory, where there is a lot of it.
scratch() {
  local free_kib
  free_kib=$(df --output=avail /dev/shm 2>/dev/null | tail -1)
  if [ "${free_kib:-0}" -gt $((8 * 1024 * 1024)) ]; then echo /dev/shm; else echo /tmp; fi
}

free_port() {
  python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'
}

start_postgres() {
  local bin port
  bin=$(newest_postgres_bin)
  postgres_folder=$(mktemp -d "$(scratch)/closewatch-postgres.XXXXXX")
  if [ "$(id -u)" -eq 0 ]; then chown postgres "$postgres_folder"; fi
  as_postgres "$bin/initdb" -D "$postgres_folder/data" -U postgres --auth=trust --encoding=UTF8 --locale=C.UTF-8 \
    >"$postgres_folder.initdb.log" || { cat "$postgres_folder.initdb.log" >&2; return 1; }
  rm -f "$postgres_folder.initdb.log"
  port=$(free_port)
  # Nothing here must survive a power cut, so nothing waits for the disk.
  as_postgres "$bin/pg_ctl" -D "$postgres_folder/data" -l "$postgres_folder/server.log" -w -s start -o \
    "-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories='' -c max_connections=300 \
     -c fsync=off -c full_page_writes=off -c synchronous_commit=off" \
    || { cat "$postgres_folder/server.log" >&2; return 1; }
  export TEST_PG_URL="postgres://postgres@127.0.0.1:$port/postgres"
  echo "PostgreSQL listens on 127.0.0.1:$port"
}

stop_postgres() {
  [ -n "$postgres_folder" ] || return 0
  as_postgres "$(newest_postgres_bin)/pg_ctl" -D "$postgres_folder/data" -m immediate -s stop || true
  rm -rf "$postgres_folder"
  postgres_folder=""
}

# --- Python and Node packages, outside the checkout ------------------------------------------------------------

key_of() { cat "$@" | sha256sum | cut -c1-16; }

python_packages() {
  local wanted=tests/outside/requirements.txt
  venv="$cache/venv-$( (python3 --version && cat "$wanted") | key_of -)"
  [ -e "$venv/ready" ] && return 0
  rm -rf "$venv"
  python3 -m venv "$venv"
  "$venv/bin/pip" install --quiet --disable-pip-version-check -r "$wanted"
  touch "$venv/ready"
}

node_packages() {
  local folder
  folder="$cache/node-$( (node --version && cat tests/browser/package-lock.json) | key_of -)"
  export NODE_PATH="$folder/node_modules"
  [ -e "$folder/ready" ] && return 0
  rm -rf "$folder"
  mkdir -p "$folder"
  cp tests/browser/package.json tests/browser/package-lock.json "$folder/"
  (cd "$folder" && npm ci --ignore-scripts --no-audit --no-fund)
  touch "$folder/ready"
}

# Debian's nginx, unpacked and not installed: a proxy to try, and no server of its own on port 80.
nginx_program() {
  if has nginx; then
    CLOSEWATCH_NGINX=$(command -v nginx)
  else
    local folder="$cache/nginx"
    if [ ! -x "$folder/unpacked/usr/sbin/nginx" ]; then
      rm -rf "$folder"
      mkdir -p "$folder"
      (cd "$folder" && apt-get download -q nginx && dpkg -x nginx_*.deb unpacked)
    fi
    CLOSEWATCH_NGINX="$folder/unpacked/usr/sbin/nginx"
  fi
  export CLOSEWATCH_NGINX
}

# Built once for each version of it and of Rust; without optimising, which takes longer than all it is asked.
cargo_deny() {
  local version=0.20.2 folder
  folder="$cache/cargo-deny-$version-$(rustc --version | key_of -)"
  export PATH="$folder/bin:$PATH"
  [ -e "$folder/ready" ] && return 0
  rm -rf "$folder"
  CARGO_TARGET_DIR="$folder/build" cargo install --debug cargo-deny --version "$version" --locked --root "$folder"
  rm -rf "$folder/build"
  touch "$folder/ready"
}

# --- the sections ----------------------------------------------------------------------------------------------

format() { cargo fmt --check; }

# With and without the feature that only tests switch on: what is shipped is built without.
clippy() {
  cargo clippy --locked --lib --bins -- -D warnings
  cargo clippy --locked --all-targets --features doubles -- -D warnings
}

# What it is built from. Known faults are asked about only when CLOSEWATCH_ADVISORY_DB names a folder that holds clones of advisory
# databases: nobody fetches one here, and a warning says how old it is.
supply() {
  cargo_deny
  cargo deny --locked check -D warnings bans licenses sources
  if [ -n "${CLOSEWATCH_ADVISORY_DB:-}" ]; then
    bash tests/supply/advisories.sh "$CLOSEWATCH_ADVISORY_DB"
  else
    echo "known faults were not asked about: CLOSEWATCH_ADVISORY_DB names no database"
  fi
  bash tests/supply/planted.sh
  bash tests/supply/built.sh "$target"
}

# Each store test runs on SQLite and, because TEST_PG_URL is set, in a database of its own on PostgreSQL.
rust() {
  cargo test --locked --features doubles --no-run
  start_postgres
  # Whoever tests a disk brings one of its own; for everything else, waiting for one tells nothing.
  tests_folder=$(mktemp -d "$(scratch)/closewatch-tests.XXXXXX")
  chmod 755 "$tests_folder"
  # The ten thousand days of the loop take what the other tests leave of the machine; beside those only a hundred are lived.
  days_log=$(mktemp)
  nice -n 15 cargo test --locked --features doubles --test loop_machine -- --nocapture whatever_happens \
    >"$days_log" 2>&1 &
  days=$!
  TMPDIR=$tests_folder LOOP_SEQUENCES=100 cargo test --locked --features doubles
  echo "--- the ten thousand days"
  wait "$days" || { cat "$days_log"; return 1; }
  cat "$days_log"
  days=""
  rm -rf "$tests_folder" "$days_log"
  stop_postgres
}

outside() {
  python_packages
  nginx_program
  cargo build --locked --bins --examples
  export CLOSEWATCH_BIN_DIR="$target/debug/examples"
  for check in tests/outside/*/check.sh tests/outside/*/check.py; do
    [ -e "$check" ] || continue
    echo "--- $check"
    case "$check" in
      *.sh) PATH="$venv/bin:$PATH" bash "$check" ;;
      *.py) "$venv/bin/python" "$check" ;;
    esac
  done
}

# Pictures that others test their programs with; 70 MB are fetched once.
corpora() {
  python_packages
  # Not every Debian has pip beside its own Python; the packages' one has.
  PATH="$venv/bin:$PATH" bash tests/outside/photo/corpora.sh "$cache/corpora"
  cargo build --locked --bins --examples
  "$venv/bin/python" tests/outside/photo/check.py "$target/debug/examples/clean_photo" \
    --corpora "$cache/corpora/pictures" --apart "$target/debug/closewatch"
}

browser() {
  node_packages
  # With the examples, as above: without them some crates have other features, and everything would be compiled once more.
  cargo build --locked --bins --examples
  CLOSEWATCH_BIN="$target/debug/closewatch" node --test --test-concurrency=2 --test-reporter=spec \
    tests/browser/*.test.mjs
}

chosen=("$@")
[ ${#chosen[@]} -gt 0 ] || chosen=(tools format clippy supply rust outside browser)
for name in "${chosen[@]}"; do
  case "$name" in
    tools | format | clippy | supply | rust | outside | browser) begin "$name"; "$name"; passed ;;
    --corpora | corpora) begin corpora; corpora; passed ;;
    *) section=$name; echo "no section is called $name" >&2; exit 2 ;;
  esac
done
