"""From a fresh checkout to the running app, or to the tested checkout, in one command.

    python3 .ci/go.py app  [arguments for the app]       (Windows: py .ci\\go.py app)
    python3 .ci/go.py test [arguments for pytest]

Needs Python 3.11, 3.12 or 3.13 and nothing else. The first run makes the environment `.venv` in the checkout
and installs the exact releases of constraints.txt, which needs a package index within reach; later runs reuse
it as long as constraints.txt and pyproject.toml are unchanged, and need no network.
"""
# Only syntax that Python 3.6 reads, so that an old Python gets the one line below and no SyntaxError.

import hashlib
import importlib.util
import json
import os
import subprocess
import sys

OLDEST, NEWEST = (3, 11), (3, 13)
ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
EXTRAS = {"app": ["postgres"], "test": ["postgres", "test"]}
# one more than cores: a quarter of the time the tests wait, for a browser or for a link that stalls
WORKERS = min(4, 1 + (os.cpu_count() or 1))


class Stop(Exception):
    """What the user has to know, in one line."""


def version_problem(version):
    """One line for a Python (major, minor, ...) outside the supported range, else None."""
    if OLDEST <= tuple(version[:2]) <= NEWEST:
        return None
    given = ".".join(str(part) for part in version[:3])
    return (
        f"Python {given} given; chiller-diagnose needs 3.11, 3.12 or 3.13: run this file with one of these, "
        "for example `python3.12 .ci/go.py test`."
    )


def short_version():
    """Version of the Python that runs this file, as "3.12"."""
    return f"{sys.version_info[0]}.{sys.version_info[1]}"


def missing_stdlib_problem(find_spec=importlib.util.find_spec):
    """One line when this Python was shipped without the modules that make an environment, else None."""
    missing = [name for name in ("venv", "ensurepip") if find_spec(name) is None]
    if not missing:
        return None
    return (
        f"This Python has no module {missing[0]}, so no environment can be made: install it (Debian, Ubuntu: "
        f"`apt install python{short_version()}-venv`) or use a Python that has it."
    )


def python_of(environment):
    """Path of the environment's Python."""
    if os.name == "nt":
        return os.path.join(environment, "Scripts", "python.exe")
    return os.path.join(environment, "bin", "python")


def wanted_state(root, command):
    """What the environment must have been made from; compared with what its state file says."""
    digest = hashlib.sha256()
    for name in ("constraints.txt", "pyproject.toml"):
        with open(os.path.join(root, name), "rb") as file:
            digest.update(hashlib.sha256(file.read()).digest())
    return {
        "python": short_version(),
        "checkout": root,
        "digest": digest.hexdigest(),
        "extras": EXTRAS[command],
    }


def read_state(environment):
    """State written after the last complete installation; {} for one not made here or cut short."""
    try:
        with open(os.path.join(environment, "chiller-diagnose.json"), encoding="utf-8") as file:
            state = json.load(file)
    except (OSError, ValueError):
        return {}
    return state if isinstance(state, dict) else {}


def write_state(environment, state):
    """Written last and in one move, so that a cut installation is never taken for a complete one."""
    path = os.path.join(environment, "chiller-diagnose.json")
    with open(path + ".new", "w", encoding="utf-8") as file:
        json.dump(state, file, indent=1)
    os.replace(path + ".new", path)


def work_to_do(have, want, python_exists):
    """'nothing', 'install' (into the environment there is) or 'create' (from the start).

    Another Python or a moved checkout means a new environment: its scripts hold absolute paths. Extras only
    grow: an environment with the test tools also runs the app.
    """
    if not python_exists:
        return "create"
    if any(have.get(key) not in (None, want[key]) for key in ("python", "checkout")):
        return "create"
    same = all(have.get(key) == want[key] for key in ("python", "checkout", "digest"))
    return "nothing" if same and set(want["extras"]) <= set(have.get("extras", [])) else "install"


def clean_variables():
    """The caller's variables, less those that would make Python or pip look outside the environment, or Python compile our
    modules anew in each of the hundreds of processes that the tests start.
    """
    hidden = {"PYTHONPATH", "PYTHONHOME", "PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_REQUIRE_VIRTUALENV",
              "PYTHONDONTWRITEBYTECODE"}  # fmt: skip
    return {key: value for key, value in os.environ.items() if key not in hidden}


def run(arguments):
    """Exit code of a command run in the checkout; output goes straight through."""
    sys.stdout.flush()
    process = subprocess.Popen(arguments, cwd=ROOT, env=clean_variables())
    while True:
        try:
            return process.wait()
        except KeyboardInterrupt:
            continue  # Ctrl-C has reached the child too; it ends in its own way, and its code is ours.


def python_matches(python):
    """Whether the environment's Python still starts (an upgrade may have moved it) and has our version."""
    code = f"import sys; sys.exit(sys.version_info[:2] != {tuple(sys.version_info[:2])})"
    try:
        return subprocess.call([python, "-c", code], stderr=subprocess.DEVNULL) == 0
    except OSError:
        return False


def prepare(command):
    """Make or refresh the environment; return its Python."""
    environment = os.path.join(ROOT, ".venv")
    python = python_of(environment)
    have, want = read_state(environment), wanted_state(ROOT, command)
    work = work_to_do(have, want, os.path.exists(python) and python_matches(python))
    if work == "nothing":
        return python
    if work == "create":
        problem = missing_stdlib_problem()
        if problem:
            raise Stop(problem)
        if os.path.realpath(sys.prefix) == os.path.realpath(environment):
            raise Stop("The environment .venv must be made again: run this file with a Python outside it.")
        print(f"go: making the environment .venv (Python {short_version()})")
        if run([sys.executable, "-m", "venv", "--clear", environment]):
            raise Stop(f"The environment {environment} could not be made; the lines above say why.")
        have = {}
    same_environment = have.get("digest") is not None
    want["extras"] = sorted(set(want["extras"]) | set(have.get("extras", []) if same_environment else []))
    extras = ",".join(want["extras"])
    print(f"go: installing chiller-diagnose[{extras}] into .venv; the first time takes some minutes")
    pip = [python, "-m", "pip", "install", "--quiet", "--no-input", "--disable-pip-version-check"]
    # The pinned setuptools builds ours, so nothing unpinned takes part; `--use-pep517` also for an old pip.
    for target in (["setuptools"], ["--no-build-isolation", "--use-pep517", "-e", f".[{extras}]"]):
        if run([*pip, "-c", "constraints.txt", *target]):
            raise Stop("Installing failed, pip's lines above say why (the first run needs a package index in reach).")
    write_state(environment, want)
    return python


def test(python, arguments):
    """Lint, types, knowledge check, then pytest, its summary line last; each runs, any failure counts."""
    steps = [
        ("ruff", [python, "-m", "ruff", "check", "--quiet", "--output-format", "concise", "."]),
        ("mypy", [python, "-m", "mypy", "--strict", "-p", "shared", "-p", "knowledge", "-p", "diagnose"]),
        ("knowledge check", [python, "-m", "knowledge", "check"]),
    ]
    failed = []
    for name, command in steps:
        print("go: " + name)
        if run(command):
            print(f"go: {name} FAILED")
            failed.append(name)
    print("go: pytest")
    spread = ["-n", str(WORKERS), "--dist", "worksteal"]
    code = run([python, "-m", "pytest", "--doctest-modules", *spread, *arguments])
    if failed:
        print("go: FAILED before pytest: " + ", ".join(failed))
    return code or (1 if failed else 0)


def main(arguments):
    """Exit code of the app or of the tests; 2 for wrong use, 1 when the environment could not be made."""
    if not arguments or arguments[0] not in EXTRAS:
        given = repr(arguments[0]) if arguments else "no command"
        print(f"go: {given} given; allowed: app [its arguments] | test [pytest's arguments]", file=sys.stderr)
        return 2
    problem = version_problem(sys.version_info)
    if problem:
        print("go: " + problem, file=sys.stderr)
        return 1
    try:
        python = prepare(arguments[0])
    except Stop as stop:
        print(f"go: {stop}", file=sys.stderr)
        return 1
    if arguments[0] == "app":
        command = [python, "-m", "ui", *arguments[1:]]
        if os.name == "nt":
            return run(command)
        os.chdir(ROOT)
        sys.stdout.flush()
        os.execve(python, command, clean_variables())  # so that signals and the exit code are the app's own
    return test(python, arguments[1:])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
