#!/usr/bin/env bash
# Put a Chromium on this machine, for the tests that look at documents as a reader does. Where that
# cannot be done, it is said with the reason, and the exit status is 0: those tests are then skipped.
set -uo pipefail

for name in chromium chromium-browser google-chrome; do
    if command -v "$name" >/dev/null; then
        echo "browser: $name"
        exit 0
    fi
done

without() {
    echo "no browser ($1): tests of documents in a browser are skipped"
    exit 0
}

command -v apt-get >/dev/null || without "no apt-get here"
[ "$(id -u)" = 0 ] || without "not root"
export DEBIAN_FRONTEND=noninteractive
apt-get -qq update || without "apt-get update failed"
# A font beside it: without any, text has no width.
apt-get -qq install -y --no-install-recommends chromium fonts-dejavu-core >/dev/null ||
    without "apt-get install chromium failed"
echo "browser: chromium, newly installed"
