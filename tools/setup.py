"""Make `.venv` ready: create it, install the hash-locked packages, install Drydown.

Usage: python3 tools/setup.py run|test

Only the standard library is used, because this runs before anything is installed.
A stamp file remembers what was installed, so a second start costs milliseconds.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
KERNEL = ROOT / "src" / "drydown" / "steps" / "dry"
WINDOWS = os.name == "nt"
BIN = VENV / ("Scripts" if WINDOWS else "bin")
PYTHON = BIN / ("python.exe" if WINDOWS else "python")
LOCKS = {"run": ["run.txt"], "test": ["run.txt", "test.txt", "samples.txt"]}


def main(kind: str) -> None:
    """Bring `.venv` up to `kind` ("run" or "test"), doing nothing when it already is."""
    if kind not in LOCKS:
        sys.exit("setup: say 'run' or 'test'")
    if sys.version_info < (3, 11):  # noqa: UP036 (whoever starts this may have an older one)
        sys.exit(f"setup: Python 3.11 or newer is needed; this is {sys.version.split()[0]}")
    wanted = fingerprint(kind)
    done = VENV / f"installed-{kind}"
    if done.exists() and done.read_text(encoding="utf-8") == wanted:
        return
    started = time.monotonic()
    say(f"setting up .venv for '{kind}' (first time only, a few minutes on a slow line)")
    create_venv()
    for lock in LOCKS[kind]:
        install_lock(lock)
    pip("install", "--no-deps", "--no-build-isolation", "--editable", str(ROOT))
    warm()
    if kind == "test":
        install_browser()
        install_postgres()
        install_broker()
    done.write_text(wanted, encoding="utf-8")
    say(f"ready after {time.monotonic() - started:.0f} s")


def say(text: str) -> None:
    """Print one line at once, also when the output is piped."""
    print(f"[setup] {text}", flush=True)


def fingerprint(kind: str) -> str:
    """Hash of everything that decides what is installed."""
    names = [ROOT / "requirements" / n for n in LOCKS[kind]]
    files = [*names, ROOT / "pyproject.toml", Path(__file__)]
    digest = hashlib.sha256(f"{sys.version_info[:2]}{ROOT}".encode())
    package = KERNEL.parent.parent
    laid_in = [package / "units.py", package / "matter" / "sorption.py", *sorted(KERNEL.glob("*.py"))]
    for file in [*files, *laid_in]:
        digest.update(file.read_bytes())
    return digest.hexdigest()


def create_venv() -> None:
    """Create `.venv`; on Debian fetch the venv package when it is missing and we may."""
    if PYTHON.exists() and pip("--version", check=False):
        return
    if run_venv():
        return
    say("this Python has no working venv module; asking the system's package manager")
    apt_install(
        ["python3-venv"],
        "install the package 'python3-venv' by hand (as root), then start again",
    )
    if not run_venv():
        sys.exit("setup: Python still cannot make a virtual environment; see the lines above")


def run_venv() -> bool:
    """True when `python -m venv` worked."""
    shutil.rmtree(VENV, ignore_errors=True)
    call = [sys.executable, "-m", "venv", str(VENV)]
    return subprocess.run(call, capture_output=True, check=False).returncode == 0


def pip(*words: str, check: bool = True) -> bool:
    """Run the environment's pip; stop with its own message when it fails."""
    call = [str(PYTHON), "-m", "pip", "--disable-pip-version-check", *words, "--quiet"]
    outcome = subprocess.run(call, check=False, capture_output=not check)
    if check and outcome.returncode:
        sys.exit("setup: a package could not be installed (see above); is the network up?")
    return outcome.returncode == 0


def install_lock(lock: str) -> None:
    """Install one hash-locked list. The sample data list brings files, not dependencies."""
    say(f"installing requirements/{lock}")
    words = ["install", "--require-hashes", "--requirement", str(ROOT / "requirements" / lock)]
    if lock == "samples.txt":
        words.append("--no-deps")
    pip(*words)


def warm() -> None:
    """Compile the drying kernel, so that no user waits for it later."""
    say("compiling the drying kernel")
    call = [str(PYTHON), "-c", "from drydown.steps.dry import warm; warm()"]
    if subprocess.run(call, check=False).returncode:
        sys.exit("setup: the drying kernel did not compile; see above")


def install_browser() -> None:
    """The browser walk needs Chromium and what its driver links to; use Debian's."""
    if shutil.which("chromium") and driver_runs():
        return
    say("installing Chromium for the browser tests")
    apt_install(
        ["chromium", "fonts-dejavu-core", "libatomic1"],
        "install Chromium (as 'chromium' on the path) and libatomic1 by hand, then start again",
    )


def install_postgres() -> None:
    """The books are tested on PostgreSQL too; use Debian's server."""
    if shutil.which("initdb") or list(Path("/usr/lib/postgresql").glob("*/bin/initdb")):
        return
    say("installing PostgreSQL for the tests of the books")
    apt_install(["postgresql"], "install PostgreSQL 15 or newer by hand, then start again")


def install_broker() -> None:
    """Loggers are tested against an MQTT broker of our own; use Debian's Mosquitto."""
    if shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin"):
        return
    say("installing Mosquitto for the tests of loggers")
    apt_install(["mosquitto"], "install Mosquitto by hand, then start again")


def driver_runs() -> bool:
    """True when the browser driver's own program starts on this machine."""
    call = [str(PYTHON), "-m", "playwright", "--version"]
    return subprocess.run(call, check=False, capture_output=True).returncode == 0


def apt_install(packages: list[str], otherwise: str) -> None:
    """Install Debian packages when allowed to; else stop and say what to do."""
    prefix = [] if WINDOWS or os.geteuid() == 0 else ["sudo", "-n"]
    if shutil.which("apt-get") is None or (prefix and shutil.which("sudo") is None):
        sys.exit(f"setup: {otherwise}")
    env = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    for words in (["update", "-q"], ["install", "-y", "-q", "--no-install-recommends", *packages]):
        call = [*prefix, "apt-get", *words]
        outcome = subprocess.run(call, check=False, env=env, capture_output=True, text=True)
        if outcome.returncode:
            print(outcome.stdout[-800:], outcome.stderr[-800:], sep="\n")
            sys.exit(f"setup: {otherwise}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "")
