#!/usr/bin/env python3
"""Builds the source archive and wheels of the Python package and uses them in clean environments.

One wheel is built from the checkout, one from the unpacked source archive alone. Both must hold the
same files, and each is installed into a new environment outside the project, where it must find the
shipped data and give the same answers as the other.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path

PROBE = """
import json, sys
from pathlib import Path
import faultloom
here = Path(faultloom.__file__).resolve()
assert here.is_relative_to(Path(sys.prefix).resolve()), here
assert faultloom.data_path().is_relative_to(here.parent), faultloom.data_path()
answers = {}
for path in sorted((faultloom.data_path() / "vehicles").glob("*.json")):
    answers[path.stem] = faultloom.Model.shipped(path.stem).solve({"key": "on"}).text
job = faultloom.data_path() / "jobs" / "compost-yard-dead-tug.json"
tug = faultloom.Model.shipped("mulch-tug")
answers["ranking"] = tug.rank(job, budget_sets=500).text
answers["step"] = tug.next_step(job, alternatives=1).text
print(json.dumps(answers))
"""


class Broken(Exception):
    """Something was not built, or does not do what it should."""


def run(*command: str | Path, cwd: Path | None = None, **more: str) -> str:
    """Runs a command away from the caller's Python paths; returns what it printed."""
    kept = {name: text for name, text in os.environ.items() if not name.startswith("PYTHON")}
    environment = {**kept, "PYTHONNOUSERSITE": "1", **more}
    words = [str(word) for word in command]
    done = subprocess.run(words, cwd=cwd, env=environment, capture_output=True, text=True)
    if done.returncode != 0:
        raise Broken(f"{' '.join(words)} ended with {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


def archive(python: Path, package: Path, to: Path) -> Path:
    """The source archive of the package in a folder."""
    run(python, "-m", "build", "--sdist", "--no-isolation", "--outdir", to, package)
    (found,) = to.glob("*.tar.gz")
    return found


def check_archive(project: Path, packed: Path) -> None:
    """Raises unless the archive holds every file under version control that a build needs."""
    listing = run("git", "ls-files", "lib", "data", "CMakeLists.txt", cwd=project).split()
    wanted = {f"project/{name}" for name in listing}
    inside = run("git", "ls-files", cwd=project / "bindings" / "python").split()
    wanted |= {name for name in inside if name.endswith((".py", ".cpp", ".hpp", ".pyi", ".toml"))}
    with tarfile.open(packed) as opened:
        members = [member for member in opened.getnames() if "/" in member]
    names = {member.split("/", 1)[1] for member in members}
    if missing := sorted(wanted - names):
        raise Broken(f"{packed.name} lacks {', '.join(missing[:10])}")
    odd = sorted(name for name in names if re.search(r"(^|/)(tests|\.git|build)(/|$)|\.so$", name))
    if odd:
        raise Broken(f"{packed.name} holds {', '.join(odd[:10])}")


def wheel(python: Path, source: Path, build: Path, to: Path) -> Path:
    """The wheel of a source tree in a folder."""
    command = [python, "-m", "pip", "wheel", "--quiet", "--no-build-isolation", "--no-deps"]
    command += [f"--config-settings=build-dir={build}", "--wheel-dir", to]
    command += ["--config-settings=cmake.define.FAULTLOOM_REPRODUCIBLE=ON"]  # as when installed
    run(*command, source)
    (found,) = to.glob("*.whl")
    return found


def contents(path: Path) -> dict[str, str]:
    """Hashes of the files of a wheel; of what is compiled and listed only that it is there."""
    with zipfile.ZipFile(path) as opened:
        return {
            name: "" if name.endswith((".so", "RECORD")) else digest(opened.read(name))
            for name in opened.namelist()
        }


def digest(content: bytes) -> str:
    """A hash of some bytes."""
    return hashlib.sha256(content).hexdigest()


def answers(python: Path, built: Path, scratch: Path) -> dict[str, str]:
    """What the package says in an environment that holds nothing else."""
    environment = scratch / f"environment-{built.parent.name}"
    run(python, "-m", "venv", environment)
    fresh = environment / "bin" / "python"
    run(fresh, "-m", "pip", "install", "--quiet", built)
    empty = scratch / "elsewhere"
    empty.mkdir(exist_ok=True)
    said: dict[str, str] = json.loads(run(fresh, "-c", PROBE, cwd=empty))
    (vehicle,) = environment.rglob("data/vehicles/mulch-tug.json")
    run(environment / "bin" / "faultloom", "check", vehicle, cwd=empty)
    return said


def check(options: argparse.Namespace, scratch: Path) -> str:
    """Runs the whole check; returns what to print."""
    package = options.project / "bindings" / "python"
    packed = archive(options.python, package, scratch)
    check_archive(options.project, packed)
    # Its build lies as deep below the sources as that of the checkout, so that ccache knows it.
    unpacked = options.work / "sdist"
    shutil.rmtree(unpacked, ignore_errors=True)
    unpacked.mkdir(parents=True)
    run("tar", "-xf", packed, "-C", unpacked)
    (source,) = unpacked.iterdir()

    first = wheel(options.python, package, options.build, scratch / "checkout")
    second = wheel(options.python, source, source / "project" / "build", scratch / "archive")
    one, other = contents(first), contents(second)
    if one != other:
        names = one.keys() | other.keys()
        differing = sorted(name for name in names if one.get(name) != other.get(name))
        raise Broken(f"the wheels differ in {', '.join(differing[:10])}")
    base = options.base or options.python
    said = [answers(base, built, scratch) for built in (first, second)]
    if said[0] != said[1]:
        raise Broken("the packages answer differently")
    return f"{packed.name}: two wheels of {len(one)} files, {len(said[0])} answers the same."


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("project", type=Path)
    parser.add_argument("--python", type=Path, required=True, help="has what the build needs")
    parser.add_argument("--base", type=Path, help="makes the clean environments")
    parser.add_argument("--build", type=Path, required=True, help="build folder of the checkout")
    parser.add_argument("--work", type=Path, required=True, help="folder to unpack in")
    options = parser.parse_args()
    for name in ("project", "build", "work"):
        setattr(options, name, getattr(options, name).resolve())
    options.python = options.python.absolute()
    with tempfile.TemporaryDirectory() as folder:
        try:
            print(check(options, Path(folder)))
        except Broken as problem:
            print(problem)
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
