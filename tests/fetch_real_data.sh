#!/bin/sh
# Fetch the real image sequence that tests/published/test_real_dot_sequence.py measures.
#
# Source: Debian package visp-images-data 3.5.0-1 (GPL-2), directory mire-2: 501 pictures of a
# hand-moved card with four small and one large white dot. It is fetched at test time and never
# becomes part of this repository. No root is needed. When it cannot be had, the tests that need
# it are skipped with a word, except where CI=true, where this script and they fail.
set -eu

package=visp-images-data
version=3.5.0-1
pictures=501
# sha256 of the 501 pictures, one after another in the order of their names
expected=01dc629a9b1202d30ecb673d9115aa3252dc4c022dc41ed04d08d419dd8387f4

root=$(cd "$(dirname "$0")/.." && pwd)
home=$root/.data/visp
sequence=$home/mire-2

give_up() {
    echo "real data: $1" >&2
    echo "real data: the tests on the real sequence will be skipped (with CI=true they fail)" >&2
    if [ "${CI:-}" = true ]; then exit 1; fi
    exit 0
}

whole() {
    [ -d "$sequence" ] || return 1
    [ "$(find "$sequence" -name 'image.*.pgm' | wc -l)" -eq $pictures ] || return 1
    [ "$(cat "$sequence"/image.*.pgm | sha256sum | cut -d ' ' -f 1)" = $expected ]
}

if whole; then exit 0; fi

for tool in apt-get dpkg-deb sha256sum; do
    command -v $tool >/dev/null 2>&1 ||
        give_up "$tool, which Debian has, is not here; put mire-2 of $package $version into $home"
done

mkdir -p "$home"
work=$(mktemp -d "$home/fetch.XXXXXX")
trap 'rm -rf "$work"' EXIT INT TERM
cd "$work"

# Package lists of our own: they need no root and leave the machine's lists alone.
download_with_own_lists() {
    mkdir -p lists/partial cache/archives/partial
    set -- -o Dir::State::lists="$work/lists" -o Dir::Cache="$work/cache" -o Debug::NoLocking=1
    apt-get -qq "$@" update && apt-get -qq "$@" download "$package=$version"
}

echo "real data: fetching $package $version (75 MB) …" >&2
apt-get -qq download "$package=$version" 2>log || download_with_own_lists 2>>log || {
    cat log >&2
    give_up "$package $version could not be downloaded"
}
dpkg-deb -x "$package"_*.deb unpacked || give_up "the package could not be unpacked"
rm -rf "$sequence"
mv unpacked/usr/share/visp-images-data/ViSP-images/mire-2 "$sequence"
cp "unpacked/usr/share/doc/$package/copyright" "$home/copyright"
whole || give_up "the pictures in $sequence are not those of $package $version"
echo "real data: $pictures pictures in $sequence" >&2
