"""Standard library only: makes ``.venv`` with the pinned packages and re-runs a command in it.

Inside a ready environment it does nothing more than read one small file.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PINS = ROOT / ".ci" / "constraints.txt"
DEVELOPER_COMMANDS = {"test", "bench"}
USAGE_ERROR = 2


def enter_environment(argv: list[str]) -> None:
    """Return when this process runs in a ready environment; else replace it by one that does.

    ``--data-dir DIR`` becomes ROLLROOM_DATA_DIR here, before settings are read.
    """
    _name_data_dir(argv)
    wants_tests = len(argv) > 1 and argv[1] in DEVELOPER_COMMANDS
    if sys.version_info < (3, 11):  # noqa: UP036 (this file is what says so)
        _stop("rollroom needs Python 3.11 or newer; this is " + sys.version.split()[0])
    if not _is_ready(wants_tests):
        _make(wants_tests)
    if Path(sys.prefix).resolve() != VENV.resolve():
        python = str(VENV / "bin" / "python")
        os.execv(python, [python, *argv])


def _name_data_dir(argv: list[str]) -> None:
    for place, word in enumerate(argv):
        if word.startswith("--data-dir="):
            os.environ["ROLLROOM_DATA_DIR"] = word.partition("=")[2]
        elif word == "--data-dir" and place + 1 < len(argv):
            os.environ["ROLLROOM_DATA_DIR"] = argv[place + 1]


def _is_ready(wants_tests: bool) -> bool:
    stamps = [_stamp_file(True)] if wants_tests else [_stamp_file(False), _stamp_file(True)]
    wanted = _fingerprint()
    return any(stamp.is_file() and stamp.read_text() == wanted for stamp in stamps)


def _make(wants_tests: bool) -> None:
    _make_environment()
    print("rollroom: installing the pinned packages", file=sys.stderr, flush=True)
    command = [str(VENV / "bin" / "python"), "-m", "pip", "install", "--quiet", "--no-input"]
    command += ["--disable-pip-version-check", "--no-compile", "--constraint", str(PINS)]
    command += packages(wants_tests)
    if subprocess.run(command, check=False).returncode:
        _stop("the packages could not be installed; see pip's message above")
    for with_tests in {False, wants_tests}:
        _stamp_file(with_tests).write_text(_fingerprint())


def _make_environment() -> None:
    """An environment with pip; one that was left half made is made anew."""
    if not all((VENV / "bin" / name).exists() for name in ("python", "pip")):
        _need_venv_module()
        print("rollroom: making .venv (first use)", file=sys.stderr, flush=True)
        venv.EnvBuilder(with_pip=True, clear=VENV.exists()).create(VENV)


def packages(wants_tests: bool) -> list[str]:
    """The names that pyproject.toml asks for, with the developers' group when tests are wanted."""
    import tomllib  # noqa: PLC0415 (Python 3.10 has none, and is told so first)

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    names = list(project["project"]["dependencies"])
    return names + project["dependency-groups"]["dev"] if wants_tests else names


def need_system_package(package: str, program: str) -> str:
    """The path of a program; root installs its Debian package, others are told the line, exit 2."""
    found = shutil.which(program)
    if found:
        return found
    apt_install(package)
    found = shutil.which(program)
    if not found:
        _stop(f"{program} is still missing after installing {package}")
    return str(found)


def apt_install(package: str) -> None:
    """Install a Debian package as root; elsewhere print the one line to run and exit 2."""
    apt = shutil.which("apt-get")
    if apt and os.geteuid() == 0:
        print(f"rollroom: installing Debian's {package}", file=sys.stderr, flush=True)
        quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        for step in (["update", "-qq"], ["install", "-y", "-qq", package]):
            subprocess.run([apt, *step], check=False, env=quiet, stdout=subprocess.DEVNULL)
        return
    _stop(f"missing system package; run: sudo apt-get install -y {package}")


def _need_venv_module() -> None:
    if importlib.util.find_spec("ensurepip") is None:
        apt_install("python3-venv")
        importlib.invalidate_caches()
        if importlib.util.find_spec("ensurepip") is None:
            _stop("this Python still has no ensurepip; install its own venv package")


def _stamp_file(with_tests: bool) -> Path:
    return VENV / ("ready-with-tests" if with_tests else "ready")


def _fingerprint() -> str:
    pins = PINS.read_bytes() if PINS.exists() else b""
    project = (ROOT / "pyproject.toml").read_bytes()
    python = "{}.{}".format(*sys.version_info)
    return hashlib.sha256(project + pins + python.encode()).hexdigest()


def _stop(message: str) -> None:
    print(f"rollroom: {message}", file=sys.stderr)
    sys.exit(USAGE_ERROR)
