# shellcheck shell=sh disable=SC2154
# Sourced by the scripts beside it: finds a Python and makes a locked environment in the checkout.
# Needs `checkout` (the absolute path of the checkout) and `again` (the command to repeat).

oldest=3.11  # the same as requires-python in pyproject.toml

fail() {
    printf '\n%s\n' "$*" >&2
    exit 1
}

# Prints "good 3.12", "bare 3.12" (it cannot make environments) or "old 3.9"; nothing if it isn't one.
judge_python() {
    # Must run on any Python, however old.
    "$1" -c '
import sys
version = "%d.%d" % sys.version_info[:2]
oldest = tuple(int(part) for part in sys.argv[1].split("."))
try:
    import ensurepip, venv
    bare = False
except ImportError:
    bare = True
print("%s %s" % ("old" if sys.version_info[:2] < oldest else "bare" if bare else "good", version))
' "$oldest" 2>/dev/null </dev/null || true
}

# Sets `python` to the newest suitable Python, or to what the variable PYTHON names.
find_python() {
    seen_old='' seen_bare='' bare_name=''
    if [ -n "${PYTHON:-}" ]; then
        set -- "$PYTHON"
    else
        set -- python3.14 python3.13 python3.12 python3.11 python3 python
    fi
    for name in "$@"; do
        verdict=$(judge_python "$name")
        case $verdict in
            good*) python=$name && return ;;
            bare*) [ -n "$seen_bare" ] || { seen_bare=${verdict#bare } && bare_name=$name; } ;;
            old*) [ -n "$seen_old" ] || seen_old="$name is Python ${verdict#old }" ;;
        esac
    done
    if [ -n "$seen_bare" ]; then
        fail "Python $seen_bare ($bare_name) is here but cannot make an environment: venv is missing.
On Debian or Ubuntu, as root:  apt-get install python$seen_bare-venv
Then run again:  $again"
    fi
    if [ -n "$seen_old" ]; then
        fail "Rungwise needs Python $oldest or newer, but $seen_old.
Install a newer one and run again, or name it:  PYTHON=/path/to/python3 $again"
    fi
    if [ -n "${PYTHON:-}" ]; then
        fail "The variable PYTHON names $PYTHON, which does not run as a Python.
Unset it or name another:  PYTHON=/path/to/python3 $again"
    fi
    fail "Rungwise needs Python $oldest or newer, and found none.
On Debian or Ubuntu, as root:  apt-get install python3 python3-venv
Then run again, or name one:  PYTHON=/path/to/python3 $again"
}

# What an environment was made from and for; a different answer means it must be brought up to date.
describe_environment() {
    made_with=$("$1/bin/python" -c 'import sys; print(sys.version)' 2>/dev/null </dev/null) || return 1
    cat "$2" "$checkout/pyproject.toml" | cksum
    printf '%s\n%s\n' "$made_with" "$checkout"
}

# prepare_environment FOLDER LOCK MEGABYTES [PIP OPTION...]: returns at once when FOLDER is as LOCK says.
prepare_environment() {
    folder=$1 lock=$2 megabytes=$3 log=$1/install.log
    shift 3
    # Modules are compiled when first used, and kept.
    unset PYTHONDONTWRITEBYTECODE PYTHONHOME PYTHONPATH
    if [ -f "$folder/ready" ] && [ ! -f "$folder/unfinished" ] &&
        [ "$(describe_environment "$folder" "$lock")" = "$(cat "$folder/ready")" ]; then
        return
    fi
    if [ -f "$folder/unfinished" ]; then
        other=$(cat "$folder/unfinished" 2>/dev/null || true)
        if [ -n "$other" ] && kill -0 "$other" 2>/dev/null; then
            fail "Another run (process $other) is preparing $folder just now. Let it finish, then run again:
  $again
If there is no such run, delete $folder first."
        fi
    fi
    if keep_environment; then
        printf 'Bringing %s up to date.\n' "$folder"
        echo $$ >"$folder/unfinished"
    else
        make_environment
    fi
    # Settings of the user's own pip that would put the packages elsewhere.
    unset PIP_TARGET PIP_PREFIX PIP_REQUIRE_HASHES
    export PIP_USER=0 PIP_REQUIRE_VIRTUALENV=0 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1
    # Ready-made packages only: nothing is compiled, so no compiler is needed.
    "$folder/bin/python" -m pip install --progress-bar off --only-binary :all: \
        "$@" --require-hashes -r "$lock" >"$log" 2>&1 </dev/null || explain_failure
    "$folder/bin/python" -m pip install --no-index --no-deps --no-build-isolation \
        -e "$checkout" >>"$log" 2>&1 </dev/null || explain_failure
    describe_environment "$folder" "$lock" >"$folder/ready" || explain_failure
    rm -f "$folder/unfinished"
}

# An environment is kept if it was finished, was made here and still has its Python. One that
# somebody made by hand is kept too: it holds work of theirs, and is brought to what is locked.
keep_environment() {
    [ ! -f "$folder/unfinished" ] || return 1
    if [ -f "$folder/ready" ]; then
        [ "$(describe_environment "$folder" "$lock" | sed 1d)" = "$(sed 1d "$folder/ready")" ]
    else
        case $(judge_python "$folder/bin/python") in good*) ;; *) return 1 ;; esac
    fi
}

make_environment() {
    find_python
    free=$(df -Pk "$checkout" 2>/dev/null | awk 'NR == 2 { print int($4 / 1024) }')
    if [ -n "$free" ] && [ "$free" -lt "$megabytes" ]; then
        fail "The disk is nearly full: $folder needs about $megabytes MB and $free MB are free.
Make room and run again:  $again"
    fi
    printf 'Preparing %s with Python %s. This is done once and takes about a minute.\n' \
        "$folder" "${verdict#good }"
    # The marker stands before anything else, so that a run that dies here is noticed.
    { rm -rf "$folder" && mkdir "$folder" && echo $$ >"$folder/unfinished"; } ||
        fail "Cannot write $folder. Use a checkout that is yours and run again:  $again"
    "$python" -m venv "$folder" >"$log" 2>&1 </dev/null || explain_failure
}

explain_failure() {
    says() { grep -qiE "$1" "$log" 2>/dev/null; }
    tail -n 12 "$log" >&2 2>/dev/null || true
    if says 'no space left|disk quota'; then
        why='The disk is full. Make room'
    elif says 'do not match the hashes'; then
        why='A fetched package is not the one that was locked, so nothing of it was installed. Find out
why (a mirror or proxy that changes files?)'
    elif says 'NewConnectionError|failed to establish|name resolution|getaddrinfo|timed out|ProxyError|SSLError|connection (refused|reset|broken)|unreachable|max retries'; then
        why='The packages could not be fetched: no network, or the proxy or package index that pip is set to
use does not answer. Check the connection'
    elif says 'no matching distribution|could not find a version'; then
        why='There is no ready-made package for this Python on this system (or the package index that pip is
set to use lacks it). Python 3.11 to 3.14 on Linux and macOS are known to have them. Name another one'
    elif says 'permission denied'; then
        why="Some files in $folder belong to another user. Delete the folder"
    else
        why='Installing the packages failed; pip says why above'
    fi
    fail "$why and run again:  $again
(What pip said: $log)"
}
