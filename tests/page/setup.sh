#!/usr/bin/env bash
# Installs Debian's Chromium and Node.js, and what drives them from the npm registry, for the
# page's tests. Does nothing, fast, when they are there. Where it cannot help it says why and
# succeeds, and the tests are then skipped; with ARRAYGAUGE_PAGE_REQUIRED=1 that is an error.
set -euo pipefail
cd "$(dirname "$0")"

give_up() {
  echo "no browser here, the page's tests in one will be skipped: $1" >&2
  [ "${ARRAYGAUGE_PAGE_REQUIRED:-}" != 1 ] || exit 1
  exit 0
}

have_programs() {
  for program in chromium node npm; do
    command -v "$program" >/dev/null || return 1
  done
}

if ! have_programs; then
  grep -qs '^ID=debian$' /etc/os-release || give_up "setting it up needs Debian"
  [ "$(id -u)" = 0 ] || give_up "setting it up needs root: run 'bash tests/page/setup.sh' once"
  echo "installing chromium, nodejs and npm" >&2
  { apt-get update -qq &&
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
      chromium nodejs npm >/dev/null; } || give_up "apt-get could not install them"
fi

if ! cmp -s package-lock.json node_modules/.installed; then
  npm ci --no-audit --no-fund --loglevel error || give_up "npm could not install playwright-core and axe-core"
  cp package-lock.json node_modules/.installed
fi
