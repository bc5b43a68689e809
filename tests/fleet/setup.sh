#!/usr/bin/env bash
# Installs Debian's Prometheus and Alertmanager for the fleet's tests, without starting them.
# Does nothing, fast, when they are there. Where it cannot help it says why and succeeds, and the
# tests are then skipped; with ARRAYGAUGE_FLEET_REQUIRED=1 that is an error.
set -euo pipefail

give_up() {
  echo "Prometheus and Alertmanager are not available here, their tests will be skipped: $1" >&2
  [ "${ARRAYGAUGE_FLEET_REQUIRED:-}" != 1 ] || exit 1
  exit 0
}

have_programs() {
  for program in prometheus promtool prometheus-alertmanager amtool; do
    command -v "$program" >/dev/null || return 1
  done
}

# The packages would start their services, on all addresses: invoke-rc.d asks this file first.
install_programs() {
  local policy=/usr/sbin/policy-rc.d ours=
  if [ ! -e "$policy" ]; then
    ours=1
    printf '#!/bin/sh\nexit 101\n' >"$policy"
    chmod +x "$policy"
  fi
  local status=0
  { apt-get update -qq &&
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
      prometheus prometheus-alertmanager >/dev/null; } || status=$?
  [ -z "$ours" ] || rm -f "$policy"
  return "$status"
}

if ! have_programs; then
  grep -qs '^ID=debian$' /etc/os-release || give_up "setting them up needs Debian"
  [ "$(id -u)" = 0 ] || give_up "setting them up needs root: run 'bash tests/fleet/setup.sh' once"
  echo "installing prometheus and prometheus-alertmanager" >&2
  install_programs || give_up "apt-get could not install them"
fi
