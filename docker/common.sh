# What the scripts of this folder share. Read it with `.` from the top of the repository.
# POSIX sh, and nothing that a bare Debian with python3 lacks: no ps, curl, git, sudo, pip or venv.
# shellcheck shell=sh

say() {
    printf '%s\n' "$*"
}

fail() {
    printf '%s\n' "$*" >&2
    exit 1
}

# --- Debian packages, asked for by what they bring, so that another way of having it will do ---

wanted=""

want_command() { # command, package
    command -v "$1" >/dev/null 2>&1 || wanted="$wanted $2"
}

want_library() { # soname, package
    /sbin/ldconfig -p | grep -F "$1 " >/dev/null || wanted="$wanted $2"
}

want_to_run() { # libraries of the PDF writer, a fallback for signs that the bundled fonts lack
    want_command python3 python3
    python3 -c 'import ensurepip, venv' >/dev/null 2>&1 || wanted="$wanted python3-venv"
    want_library libpango-1.0.so.0 libpango-1.0-0
    want_library libpangoft2-1.0.so.0 libpangoft2-1.0-0
    want_library libharfbuzz-subset.so.0 libharfbuzz-subset0
    find /usr/share/fonts -name '*.[ot]tf' 2>/dev/null | grep . >/dev/null || wanted="$wanted fonts-dejavu-core"
}

want_to_check() {
    [ -n "$(postgres_folder)" ] || wanted="$wanted postgresql"
    # The tools' package carries the server's program too (see docker/check) and enables no service.
    want_command redis-check-rdb redis-tools
    want_command chromium chromium
    want_command pdftoppm poppler-utils
    want_command git git
    want_command openssl openssl
}

postgres_folder() { # the newest server's programs, or nothing
    find /usr/lib/postgresql -mindepth 2 -maxdepth 2 -name bin 2>/dev/null | sort -V | tail -n 1
}

as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    elif command -v sudo >/dev/null 2>&1; then
        sudo "$@"
    else
        fail "These Debian packages are missing:$wanted
Neither root nor sudo is at hand. As root: apt-get install --no-install-recommends$wanted"
    fi
}

install_wanted() {
    [ -n "$wanted" ] || return 0
    say "Installing Debian packages:$wanted"
    case "$wanted" in
    *postgresql*)
        # The package would make and start a cluster of its own unless this stands there first.
        if [ ! -e /etc/postgresql-common/createcluster.conf ]; then
            as_root mkdir -p /etc/postgresql-common
            say "create_main_cluster = false" | as_root tee /etc/postgresql-common/createcluster.conf >/dev/null
        fi
        ;;
    esac
    # shellcheck disable=SC2086  # a list of words
    if ! talk=$(as_root env DEBIAN_FRONTEND=noninteractive UCF_FORCE_CONFFOLD=1 sh -c \
        'apt-get -q update && apt-get -q --yes --no-install-recommends install "$@"' apt $wanted </dev/null 2>&1); then
        say "$talk" | tail -n 40 >&2
        fail "apt could not install:$wanted"
    fi
    wanted=""
}

# --- the Python environment ---

make_environment() { # folder, requirements file
    have=$(cat "$1/pins" 2>/dev/null || true)
    version=$(python3 -c 'import sys; print("%d.%d" % sys.version_info[:2])')
    pins="$version $(sha256sum <"$2")"
    if [ "$have" = "$pins" ] && "$1/bin/python" -c "" 2>/dev/null; then
        return 0
    fi
    python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' || fail "Python 3.11 or newer is needed; python3 is $version."
    say "Making the Python environment $1 from $2"
    rm -f "$1/pins" # so that an interrupted installation is not taken for a finished one
    # An environment of another Python, or a broken one, is emptied first.
    "$1/bin/python" -c "import sys; sys.exit('%d.%d' % sys.version_info[:2] != '$version')" 2>/dev/null ||
        python3 -m venv --clear "$1"
    say '*' >"$1/.gitignore"
    if ! { command -v uv >/dev/null 2>&1 && uv pip install -qq --python "$1/bin/python" --require-hashes --no-deps -r "$2"; }; then
        "$1/bin/python" -m pip --version >/dev/null 2>&1 || "$1/bin/python" -m ensurepip >/dev/null
        "$1/bin/python" -m pip install -qq --disable-pip-version-check --require-hashes --no-deps -r "$2" ||
            fail "The Python packages could not be installed; run the same command again once the cause is mended."
    fi
    say "$pins" >"$1/pins"
}

# --- ports and processes ---

port_is_free() { # port
    python3 -c 'import socket, sys
with socket.socket() as s:
    s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try: s.bind(("127.0.0.1", int(sys.argv[1])))
    except OSError: sys.exit(1)' "$1"
}

free_port() {
    python3 -c 'import socket
with socket.socket() as s:
    s.bind(("127.0.0.1", 0))
    print(s.getsockname()[1])'
}

random_word() {
    python3 -c 'import secrets; print(secrets.token_hex(16))'
}

is_alive() { # process id; a child that has ended but was not waited for is not alive
    kill -0 "$1" 2>/dev/null && ! grep -q '^State:[[:space:]]*Z' "/proc/$1/status" 2>/dev/null
}

end_all() { # seconds of patience, process ids: asks, waits, then insists
    # What a killed process leaves behind in its group (a web worker that holds the port) goes with it.
    patience=$1
    shift
    for pid in "$@"; do
        kill -TERM "$pid" 2>/dev/null || true
    done
    for pid in "$@"; do
        while is_alive "$pid" && [ "$patience" -gt 0 ]; do
            sleep 1
            patience=$((patience - 1))
        done
        kill -KILL "$pid" 2>/dev/null || true
        kill -s KILL -- "-$pid" 2>/dev/null || true
        wait "$pid" 2>/dev/null || true
    done
}

now() { # seconds, for differences
    date +%s
}
