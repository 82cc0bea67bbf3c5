#!/bin/sh
# Installs what nodespan needs besides Go: a C++ compiler and OpenCV for
# measuring, Chromium for the browser tests. May be run again at any time: what
# is there already is left alone. On Debian and Ubuntu it uses apt, with sudo
# when it isn't run as root; elsewhere it says what to install.
set -eu

say() { printf 'setup: %s\n' "$*" >&2; }
have() { command -v "$1" >/dev/null 2>&1; }

cd "$(dirname "$0")/.."

# go.mod names the version of Go. Go 1.21 and later fetch a newer one by
# themselves; an older one can't even read the file.
need_go=$(awk '$1 == "go" { print $2 }' go.mod)
if ! have go; then
  say "Go is missing: install Go $need_go or later from https://go.dev/dl/ and put its bin folder in PATH."
  exit 1
fi

missing=""
have g++ || missing="$missing g++"
have pkg-config || missing="$missing pkg-config"
pkg-config --exists opencv4 2>/dev/null || missing="$missing libopencv-dev"
# The OpenCV binding names parts that are packaged apart from the main ones.
[ -n "$(find /usr/include/opencv4/opencv2/aruco.hpp /usr/local/include/opencv4/opencv2/aruco.hpp 2>/dev/null)" ] ||
  case "$missing" in *libopencv-dev*) ;; *) missing="$missing libopencv-contrib-dev" ;; esac
browser=""
for name in chromium chromium-browser google-chrome chrome; do
  if have "$name"; then browser=$name; break; fi
done
[ -n "$browser" ] || missing="$missing chromium"

# Installs packages, as root by the command in as_root. A lock held by another
# installer is waited for.
apt="apt-get -o DPkg::Lock::Timeout=300 -qq"
get() { $as_root env DEBIAN_FRONTEND=noninteractive $apt install -y --no-install-recommends "$@" >/dev/null; }

# A smaller build of the same browser takes a third of the browser tests' time
# away. Only Debian has it, and nothing fails without it.
quick=chromium-headless-shell
if [ -z "$missing" ]; then
  if ! have $quick && have apt-cache && apt-cache show $quick >/dev/null 2>&1; then
    as_root=""
    [ "$(id -u)" -eq 0 ] || as_root="sudo -n"
    say "installing $quick, which quickens the tests"
    get $quick 2>/dev/null || say "$quick could not be installed; the tests do without"
  fi
  exit 0
fi

if ! have apt-get; then
  say "this system has no apt. Install by its own means, then run this again:"
  say "  a C++ compiler (g++ or clang++) and pkg-config"
  say "  OpenCV 4.6 or a little later with its contrib modules and headers, known to pkg-config as opencv4"
  say "  Chromium or Chrome, for the browser tests only"
  say "Missing here, by Debian's names:$missing"
  exit 1
fi

as_root=""
if [ "$(id -u)" -ne 0 ]; then
  if ! have sudo; then
    say "installing needs root, and there is no sudo. Run as root: apt-get install$missing"
    exit 1
  fi
  as_root=sudo
fi

say "installing$missing"
$as_root $apt update >/dev/null
have $quick || ! apt-cache show $quick >/dev/null 2>&1 || missing="$missing $quick"
# shellcheck disable=SC2086 # one word for each package is meant
get $missing || {
  say "apt could not install$missing. See its message above; on an Ubuntu without a chromium package install Chrome by hand."
  exit 1
}

pkg-config --exists opencv4 || {
  say "OpenCV is installed, but pkg-config doesn't know opencv4: check PKG_CONFIG_PATH."
  exit 1
}
say "ready"
