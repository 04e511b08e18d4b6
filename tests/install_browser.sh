#!/bin/sh
# What the tests of browser and desktop need beside Python: Chromium, and a desktop without a
# screen. Installs what is missing if root on Debian; otherwise says what will be skipped. With
# CI=true a missing piece is an error.
set -u

missing=""
for tool in chromium Xvfb xdotool; do
    command -v "$tool" >/dev/null 2>&1 || missing="$missing $(echo "$tool" | tr 'X' 'x')"
done
[ -z "$missing" ] && exit 0

if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "installing:$missing"
    # shellcheck disable=SC2086  # the words are to be split
    apt-get update -qq && apt-get install -y -qq --no-install-recommends $missing && exit 0
fi

echo "MISSING:$missing. Tests of browser pages and of the desktop's pointer will be SKIPPED." >&2
echo "Have whoever keeps this computer install them: apt-get install$missing" >&2
[ "${CI:-}" = true ] && exit 1
exit 0
