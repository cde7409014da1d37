#!/usr/bin/env bash
# Everything that is tested, from a fresh clone: Debian packages, environments, linters, types, tests, benchmarks.
# Each step runs even where one before it failed, so that one run tells all; the exit code is 1 if any did.
set -u -o pipefail
cd "$(dirname "$0")/.." || exit 1
exec </dev/null

fail() { printf '%s\n' "$*" >&2; exit 1; }

# 1. Debian packages: only those that are missing, as root or through sudo.
missing=()
while read -r package _; do
    case $package in '' | '#'*) continue ;; esac
    [ "$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null)" = installed ] || missing+=("$package")
done <tests/debian-packages.txt
if [ ${#missing[@]} -gt 0 ]; then
    root=()
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null || fail "install these as root first: ${missing[*]}"
        root=(sudo)
    fi
    "${root[@]}" apt-get -q update || fail "apt-get update failed"
    "${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -qy install --no-install-recommends "${missing[@]}" ||
        fail "could not install: ${missing[*]}"
fi

# 2. Environments: one for the tests, one with scipy for what is compared with it, one with the product alone.
python=
for candidate in python3 python3.11 python3.12 python3.13 python3.14; do
    if "$candidate" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
        python=$candidate
        break
    fi
done
[ -n "$python" ] || fail "no Python 3.11 or later with venv found: apt-get install python3-venv"

wanted="$("$python" -VV) $(cat pyproject.toml tests/all.sh | sha256sum)"
environment() { # name, what pip installs: made anew where Python, pyproject.toml or this script changed
    local folder=$1
    shift
    [ "$(cat "$folder/made-of" 2>/dev/null)" = "$wanted" ] && return
    "$python" -m venv --clear "$folder" && "$folder/bin/pip" install -qq --disable-pip-version-check "$@" &&
        echo "$wanted" >"$folder/made-of"
}
environment .venv-test -e '.[test]' || fail "could not make .venv-test"
environment .venv-scipy -e '.[test]' 'scipy>=1.11,<2' || fail "could not make .venv-scipy"
rm -rf .venv-product # always anew: it holds a copy of what is tested, and needs no compiler
environment .venv-product --only-binary :all: --no-binary scaled . || fail "could not make .venv-product"

# 3. The steps. The benchmarks have the machine for themselves; then what only computes runs beside what waits for lines,
# disks and browsers, yields to it, and tells what it found at the end.
failed=()
step() {
    local name=$1 start=$SECONDS
    shift
    printf '\n== %s\n' "$name"
    "$@" || failed+=("$name")
    printf '== %s: %d s\n' "$name" $((SECONDS - start))
}
bin=.venv-test/bin
computes=(batch correction formula marks phrases simulator weighing)
step "ruff check" $bin/ruff check .
step "ruff format" $bin/ruff format --check .
step "mypy --strict" $bin/mypy --strict
step "benchmarks" $bin/python tests/performance/run.py
said=$(mktemp)
trap 'rm -f "$said"' EXIT
(
    failed=()
    step "tests against scipy" .venv-scipy/bin/python -m pytest -q -W error tests/with_scipy
    step "tests of what computes" \
        $bin/python -m pytest -q -W error --durations=10 -p no:cacheprovider "${computes[@]/#/tests/}"
    [ ${#failed[@]} = 0 ]
) >"$said" 2>&1 &
renice -n 10 $! >/dev/null 2>&1
step "tests of the rest" $bin/python -m pytest -q -W error --durations=10 "${computes[@]/#/--ignore=tests/}"
wait $! || failed+=("what computes")
cat "$said"

if [ ${#failed[@]} -gt 0 ]; then
    printf '\nfailed: %s\n' "${failed[*]}"
    exit 1
fi
