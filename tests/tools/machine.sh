# Sourced by examples/run-demo and tests/run-all: gets a bare Debian 12 machine ready and installs the
# Python package. Expects `root`, the project's folder. Everything done once is remembered by the hash
# of what it was made from, so that a second run is quick.

export LC_ALL=C.UTF-8 PIP_DISABLE_PIP_VERSION_CHECK=1
CMAKE_BUILD_PARALLEL_LEVEL=$(nproc)
export CMAKE_BUILD_PARALLEL_LEVEL

venv=$root/.venv
build_packages=(build-essential cmake ninja-build pkg-config ccache ca-certificates python3
  python3-dev python3-venv libboost-dev libfmt-dev nlohmann-json3-dev libvalijson-dev libcsv-dev)

say() { printf '\n== %s\n' "$*"; }

as_root() {
  if [[ $EUID -eq 0 ]]; then "$@"; else sudo "$@"; fi
}

# need_packages PACKAGE...: installs what is missing of these Debian packages.
need_packages() {
  local package missing=()
  if ! command -v dpkg-query >/dev/null; then
    echo "This is no Debian system; these packages are taken to be there: $*"
    return
  fi
  for package; do
    if [[ $(dpkg-query -W -f '${Status}' "$package" 2>/dev/null) != *' installed' ]]; then
      missing+=("$package")
    fi
  done
  if ((${#missing[@]} == 0)); then return; fi
  say "Installing Debian packages: ${missing[*]}"
  as_root apt-get update -qq || echo "Going on with the package lists that are there"
  as_root env DEBIAN_FRONTEND=noninteractive \
    apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
}

# Compiles through ccache when it is there. The tests and the wheel compile the same sources with the
# same flags in different folders; the folder must not count as a difference. Paths below the project are
# made relative to the folder of the build, so builds that are to share must lie equally deep below what
# they build: `build`, `build-wheel`, `build-debs`.
use_ccache() {
  export CC=${CC:-cc} CXX=${CXX:-c++}
  if command -v ccache >/dev/null; then
    export CCACHE_NOHASHDIR=1 CCACHE_BASEDIR=$root
    export CMAKE_C_COMPILER_LAUNCHER=ccache CMAKE_CXX_COMPILER_LAUNCHER=ccache
  fi
}

# unchanged STAMP TEXT: whether the stamp file already holds this text.
unchanged() { [[ -f $1 && $(<"$1") == "$2" ]]; }

# need_python PIP_ARGUMENT...: makes the virtual environment and installs these requirements.
need_python() {
  local python=${PYTHON:-/usr/bin/python3} wanted stamp
  if [[ ! -x $venv/bin/python ]]; then
    say "Creating the Python environment in .venv"
    "$python" -m venv "$venv"
  fi
  wanted=$({ printf '%s\n' "$@"; cat "$root/tests/python/requirements.txt"; } | sha256sum)
  stamp=$venv/installed-$(printf '%s\n' "$@" | sha256sum | cut -c1-12)
  if unchanged "$stamp" "$wanted"; then return; fi
  say "Installing Python packages"
  "$venv/bin/pip" install --quiet "$@"
  echo "$wanted" >"$stamp"
}

# Hash of everything the Python package is made from.
package_hash() {
  (cd "$root" && find CMakeLists.txt lib data bindings/python -type f \
    -not -path '*/__pycache__/*' -not -path '*/.*_cache/*' -print0 |
    sort -z | xargs -0 sha256sum | sha256sum)
}

# install_faultloom PIP_ARGUMENT...: builds and installs the Python package unless nothing changed.
install_faultloom() {
  local wanted
  wanted=$(package_hash)
  if unchanged "$venv/faultloom-installed" "$wanted"; then
    say "The Python package is up to date"
    return
  fi
  say "Building and installing the Python package"
  "$venv/bin/pip" install --quiet --no-build-isolation --force-reinstall --no-deps \
    --config-settings=build-dir="$root/build-wheel" \
    --config-settings=cmake.define.FAULTLOOM_REPRODUCIBLE=ON "$@" "$root/bindings/python" || return
  echo "$wanted" >"$venv/faultloom-installed"
}
