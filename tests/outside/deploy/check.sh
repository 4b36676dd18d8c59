#!/usr/bin/env bash
# How exposed the service is by systemd's own measure: at most 1.5 of 10 (safety promise X6).
set -euo pipefail
cd "$(dirname "$0")/../../.."
systemd-analyze security --offline=true --no-pager --threshold=15 deploy/closewatch.service | tail -1
