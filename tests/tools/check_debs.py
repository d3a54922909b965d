#!/usr/bin/env python3
"""Installs the Debian packages into a bare Debian 12 and runs the job of tests/clients there.

Needs root, debootstrap and Debian's packages; exits 77 without. What is checked: names, fields and
contents of the packages; that apt installs them with what they depend on and nothing else; that the
Python package, the command line and a C program built against the development package give one
answer; that removing them leaves nothing.
"""

from __future__ import annotations

import argparse
import importlib.machinery
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

SKIPPED = 77
HERE = Path(__file__).resolve().parent
PROJECT = HERE.parents[1]
PACKAGES = ("libfaultloom{abi}", "libfaultloom-dev", "faultloom-data", "faultloom-tools")
PACKAGES += ("python3-faultloom",)


class Broken(Exception):
    """A package is not what it should be."""


def run(*command: str | Path, **more: str) -> str:
    """Runs a command, raises with its output when it fails, returns what it printed."""
    words = [str(word) for word in command]
    environment = {**os.environ, "LC_ALL": "C.UTF-8", "DEBIAN_FRONTEND": "noninteractive", **more}
    done = subprocess.run(words, env=environment, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise Broken(f"{' '.join(words)} ended with {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


def clients() -> ModuleType:
    """The script that compares the clients, for its comparisons."""
    loader = importlib.machinery.SourceFileLoader("clients", str(PROJECT / "tests/clients/run"))
    spec = importlib.util.spec_from_loader("clients", loader)
    if spec is None:
        raise Broken("tests/clients/run can't be loaded")
    module = importlib.util.module_from_spec(spec)
    sys.modules["clients"] = module
    loader.exec_module(module)
    return module


def abi_number() -> str:
    """FAULTLOOM_ABI_VERSION."""
    header = (PROJECT / "capi/include/faultloom.h").read_text(encoding="utf-8")
    (number,) = re.findall(r"#define FAULTLOOM_ABI_VERSION (\d+)", header)
    return number


def fields(deb: Path) -> dict[str, str]:
    """The control fields of a package."""
    lines = run("dpkg-deb", "--field", deb).splitlines()
    return {name: rest.strip() for name, _, rest in (line.partition(":") for line in lines)}


def check_packages(folder: Path) -> dict[str, Path]:
    """Raises unless the packages are those that are wanted; returns them by name."""
    debs = {fields(deb)["Package"]: deb for deb in folder.glob("*.deb")}
    wanted = {name.format(abi=abi_number()) for name in PACKAGES}
    if set(debs) != wanted:
        raise Broken(f"packages {sorted(debs)}, not {sorted(wanted)}")
    needs = {
        f"libfaultloom{abi_number()}": ("libc6", "libstdc++6", "libcsv3"),
        "libfaultloom-dev": (f"libfaultloom{abi_number()} (=",),
        "python3-faultloom": (
            "libc6",
            "libstdc++6",
            "python3 (<<",
            "python3-jinja2",
            "python3-numpy",
            "python3-rich",
        ),
        "faultloom-tools": ("python3-faultloom (=",),
    }
    for name, deb in debs.items():
        control = fields(deb)
        for field in ("Section", "Maintainer", "Description", "Installed-Size", "Version"):
            if not control.get(field):
                raise Broken(f"{name} has no field {field}")
        for need in needs.get(name, ()):
            if need not in control.get("Depends", ""):
                raise Broken(f"{name} does not depend on {need}: {control.get('Depends')}")
        listing = run("dpkg-deb", "--contents", deb)
        if f"./usr/share/doc/{name}/copyright" not in listing:
            raise Broken(f"{name} has no copyright file")
        if "/usr/local" in listing or ".pyc" in listing:
            raise Broken(f"{name} holds what it should not:\n{listing}")
    library = run("dpkg-deb", "--contents", debs[f"libfaultloom{abi_number()}"])
    if f"libfaultloom.so.{abi_number()} ->" not in library or "libfaultloom.so ->" in library:
        raise Broken(f"the soname's link is in the wrong package:\n{library}")
    return debs


def bare_root(work: Path) -> Path:
    """A new Debian 12 with nothing in it; what debootstrap makes is kept for the next time."""
    base = work / "base"
    if not (base / "complete").exists():
        shutil.rmtree(base, ignore_errors=True)
        run("debootstrap", "--variant=minbase", "bookworm", base)
        (base / "complete").touch()
    root = work / "root"
    shutil.rmtree(root, ignore_errors=True)
    run("cp", "-a", base, root)
    shutil.copy("/etc/resolv.conf", root / "etc/resolv.conf")
    return root


def c_client(debs: dict[str, Path], work: Path) -> Path:
    """The C client, compiled here against the unpacked packages, to be run there."""
    unpacked = work / "unpacked"
    shutil.rmtree(unpacked, ignore_errors=True)
    for name in (f"libfaultloom{abi_number()}", "libfaultloom-dev"):
        run("dpkg-deb", "--extract", debs[name], unpacked)
    (package,) = unpacked.rglob("faultloom.pc")
    variable = {"PKG_CONFIG_PATH": str(package.parent)}
    flags = run("pkg-config", "--cflags", "--libs", "faultloom", **variable).split()
    program = work / "client"
    source = PROJECT / "tests/clients/c/client.c"
    run("cc", "-std=c99", source, "-o", program, *flags, f"-Wl,-rpath-link,{package.parent.parent}")
    return program


def reference_job(root: Path, program: Path) -> None:
    """Runs the job there through C and through Python and compares."""
    compare = clients()
    place = root / "job"
    for name in ("c", "python"):
        (place / name).mkdir(parents=True)
    shutil.copy(program, place / "client")
    shutil.copy(PROJECT / "tests/clients/reference.py", place / "reference.py")
    shutil.copy(PROJECT / "data/vehicles/mulch-tug.json", place / "vehicle.json")
    compare.broken_vehicle(place / "vehicle.json", place)
    job = "/usr/share/faultloom/jobs/compost-yard-dead-tug.json"
    inputs = ["/job/vehicle.json", job, "/job/broken.json"]
    run("chroot", root, "/job/client", *inputs, "/job/c")
    run("chroot", root, "python3", "/job/reference.py", *inputs, "/job/python")
    facts, expected = compare.facts_of(place / "c"), compare.facts_of(place / "python")
    compare.compare_facts(facts, expected)
    compare.compare_interface(facts, PROJECT / "capi/include/faultloom.h")
    for name in compare.DOCUMENTS:
        if json.loads((place / "c" / name).read_text()) != json.loads(
            (place / "python" / name).read_text()
        ):
            raise Broken(f"{name} differs between C and Python")
    command = ["faultloom", "rank", job, "--json", "--top", "10"]
    ranked = json.loads(run("chroot", root, *command))
    if not ranked["components"] or ranked["job"] != "compost-yard-dead-tug":
        raise Broken(f"the command line ranks nothing: {ranked}")


def check(debs: dict[str, Path], work: Path) -> str:
    """Runs the whole check; returns what to print."""
    root = bare_root(work)
    (root / "debs").mkdir()
    for deb in debs.values():
        shutil.copy(deb, root / "debs")
    run("chroot", root, "apt-get", "update", "-qq")
    install = ["apt-get", "install", "-y", "-qq", "--no-install-recommends"]
    files = [f"/debs/{deb.name}" for name, deb in debs.items() if name != "libfaultloom-dev"]
    run("chroot", root, *install, *files)
    reference_job(root, c_client(debs, work))
    run("chroot", root, *install, f"/debs/{debs['libfaultloom-dev'].name}")
    if not (root / "usr/include/faultloom.h").is_file():
        raise Broken("the development package brings no header")
    run("chroot", root, "apt-get", "purge", "-y", "-qq", *debs)
    left = [path for path in (root / "usr").rglob("*faultloom*") if "/share/doc/" not in str(path)]
    if left:
        raise Broken(f"removing the packages leaves {left}")
    return f"{len(debs)} packages installed, used and removed in a bare Debian 12."


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("packages", type=Path, help="folder with the packages")
    parser.add_argument("--work", type=Path, required=True, help="folder for the bare systems")
    options = parser.parse_args()
    try:
        debs = check_packages(options.packages)
        if os.geteuid() != 0 or shutil.which("debootstrap") is None:
            print("The packages look right; to install them takes root and debootstrap")
            return SKIPPED
        work = options.work.resolve()
        work.mkdir(parents=True, exist_ok=True)
        print(check(debs, work))
    except (Broken, KeyError, ValueError, OSError) as problem:
        print(problem)
        return 1
    except Exception as problem:  # what the comparisons of the clients raise
        if type(problem).__name__ != "Failure":
            raise
        print(problem)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
