#!/bin/sh
# tankhand's commands. Each first installs what it needs: a virtual environment, in .venv but for the
# service, and on Debian and its kin the system's packages that are missing.
set -eu

here=$(cd -- "$(dirname -- "$0")" && pwd)
venv=$here/.venv

usage() {
    cat <<'TEXT'
./go demo [OPTION...]    plate a made-up part on a simulated tank; needs no hardware (--help)
./go test                set up, then run every check and every test
./go test ARGUMENT...    only pytest, with these arguments: ./go test tests/control -k stop
sudo ./go install        install the service, or bring it up to this version; says first what it does
sudo ./go uninstall      remove it; record, settings and backups stay
TEXT
}

say() { printf '%s\n' "go: $*" >&2; }

die() {
    say "$*"
    exit 1
}

# Install Debian packages, or say the command that does.
install() {
    by_hand="apt-get update && apt-get install -y --no-install-recommends $*"
    command -v apt-get >/dev/null || die "missing: $* (names of Debian packages). There is no" \
        "apt-get here: install them by this system's own means, then try again"
    as_root=
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null || die "missing: $*. As root, run: $by_hand"
        as_root=sudo
    fi
    say "installing $* with apt-get; this takes a minute or two"
    { $as_root apt-get update -qq && $as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends "$@"; } >/dev/null ||
        die "missing: $*. As root, run: $by_hand"
}

# Print the first Python that is new enough.
find_python() {
    for name in python3 python3.14 python3.13 python3.12 python3.11; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$name"
            return
        fi
    done
    die "tankhand needs Python 3.11 or newer, found: $(python3 --version 2>&1 || true)." \
        "Debian 12, Raspberry Pi OS 12 and everything newer have it: apt-get install python3"
}

# Set up .venv with the packages of pyproject.toml: "run", or "test" for those of the tests too.
# Done once for each pyproject.toml, Python and place of this folder; the stamps tell.
set_up() {
    python=$(find_python)
    stamp="$here $($python --version) $(cksum <"$here/pyproject.toml")"
    if [ "$(cat "$venv/stamp-run" 2>/dev/null)" != "$stamp" ]; then
        "$python" -c 'import ensurepip, venv' 2>/dev/null || install python3-venv
        say "setting up $venv; this takes a few minutes, once"
        "$python" -m venv --clear "$venv" || die "$python cannot make a virtual environment"
        pip_install "$here"
        printf '%s\n' "$stamp" >"$venv/stamp-run"
    fi
    if [ "$1" = test ] && [ "$(cat "$venv/stamp-test" 2>/dev/null)" != "$stamp" ]; then
        say "installing what the tests need"
        pip_install "${here}[dev]"
        printf '%s\n' "$stamp" >"$venv/stamp-test"
    fi
}

pip_install() {
    "$venv/bin/python" -m pip --disable-pip-version-check install --quiet --editable "$1" ||
        die "pip could not install the packages named in pyproject.toml; see above"
}

command=${1-}
[ $# -eq 0 ] || shift
case $command in
demo)
    set_up run
    exec "$venv/bin/tankhand" demo "$@"
    ;;
test)
    set_up test
    command -v chromium >/dev/null || install chromium fonts-dejavu-core
    # The driver that Playwright's package brings is linked to it.
    "$venv/bin/python" -c 'import ctypes; ctypes.CDLL("libatomic.so.1")' 2>/dev/null ||
        install libatomic1
    # It takes down what the record asks of the disk.
    command -v strace >/dev/null || install strace
    # It checks the service's unit; not run, it changes nothing on the machine.
    command -v systemd-analyze >/dev/null || install systemd
    cd -- "$here"
    # Looks for what would keep people out of the page; fetched once, into the user's cache.
    "$venv/bin/python" tests/web/axe.py --fetch || die "the page's tests need it; see above"
    PATH=$venv/bin:$PATH
    [ $# -eq 0 ] || exec pytest "$@"
    ruff check
    ruff format --check
    mypy --strict
    lint-imports
    # Hundreds of processes load the same modules: compiled once, not in each.
    unset PYTHONDONTWRITEBYTECODE
    # Whole daemons keep to real clocks: they have the machine to themselves, the rest shares it.
    alone='tests/end_to_end tests/campaign/test_stack.py'
    failed=0
    # shellcheck disable=SC2046,SC2086 # words on purpose
    pytest --numprocesses auto --maxprocesses 4 --dist worksteal \
        $(printf -- '--ignore %s ' $alone) || failed=$?
    # shellcheck disable=SC2086
    pytest $alone || failed=$?
    exit "$failed"
    ;;
install)
    python=$(find_python)
    "$python" -c 'import ensurepip, venv' 2>/dev/null || install python3-venv
    cd -- "$here"
    # Nothing of root's is left in this folder.
    exec "$python" -B -m install install "$@"
    ;;
uninstall)
    python=$(find_python)
    cd -- "$here"
    exec "$python" -B -m install uninstall "$@"
    ;;
*)
    usage >&2
    exit 2
    ;;
esac
