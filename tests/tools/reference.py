#!/usr/bin/env python3
"""Generates the reference of the C header and of the Python package, and fails on what has no description.

Usage: reference.py c|python PROJECT_FOLDER OUTPUT_FOLDER

C needs Doxygen, Python the installed package and pdoc; without them nothing is checked and the exit code
is 77.
"""

from __future__ import annotations

import inspect
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

FILTER = Path(__file__).with_name("header_for_doxygen.py")

SETTINGS = """
PROJECT_NAME = Faultloom
PROJECT_BRIEF = "C interface"
INPUT = {header}
OUTPUT_DIRECTORY = {output}
INPUT_FILTER = "{python} {filter}"
JAVADOC_AUTOBRIEF = YES
OPTIMIZE_OUTPUT_FOR_C = YES
GENERATE_LATEX = NO
GENERATE_HTML = YES
HTML_OUTPUT = .
MARKDOWN_SUPPORT = NO
ENABLE_PREPROCESSING = YES
MACRO_EXPANSION = YES
EXPAND_ONLY_PREDEF = YES
PREDEFINED = FAULTLOOM_API= __GNUC__=12
EXTRACT_ALL = NO
HIDE_UNDOC_MEMBERS = NO
QUIET = YES
WARNINGS = YES
WARN_IF_UNDOCUMENTED = YES
WARN_IF_DOC_ERROR = YES
WARN_IF_INCOMPLETE_DOC = YES
WARN_NO_PARAMDOC = YES
WARN_FORMAT = "$file:$line: $text"
GENERATE_TODOLIST = NO
HAVE_DOT = NO
EXCLUDE_SYMBOLS = FAULTLOOM_API
TIMESTAMP = NO
"""


def c_reference(project: Path, output: Path) -> list[str]:
    """Runs Doxygen on the header; its complaints, and functions that have no page."""
    header = project / "capi" / "include" / "faultloom.h"
    output.mkdir(parents=True, exist_ok=True)
    settings = output / "settings"
    settings.write_text(
        SETTINGS.format(header=header, output=output, python=sys.executable, filter=FILTER),
        encoding="utf-8",
    )
    run = subprocess.run(["doxygen", str(settings)], capture_output=True, text=True, check=False)
    found = [line for line in run.stderr.splitlines() if line.strip()]
    # Settings that another version of Doxygen does not know are no fault of the header.
    found = [line for line in found if "unsupported tag" not in line and "ignored" not in line]
    if run.returncode != 0:
        found.append(f"doxygen ended with {run.returncode}")
    pages = "".join(page.read_text(encoding="utf-8") for page in output.glob("*.html"))
    listing = (project / "capi" / "symbols.txt").read_text(encoding="utf-8")
    names = [line for line in listing.split("\n") if line and not line.startswith("#")]
    described = set(re.findall(r"(faultloom_\w+)", " ".join(
        re.sub(r"<[^>]+>", " ", entry)
        for entry in re.findall(r'class="memname">(.*?)</td>', pages, re.DOTALL)
    )))  # fmt: skip
    found += [f"{name} has no entry in the reference" for name in names if name not in described]
    return found


def described_attributes(text: str) -> set[str]:
    """Names that a docstring's list of attributes or arguments describes."""
    return set(re.findall(r"^\s+\*{0,2}(\w+)(?: \([^)]*\))?:", text, re.MULTILINE))


def undocumented(name: str, item: Any) -> list[str]:
    """Public things below a name of the package that have no description."""
    found = [] if inspect.getdoc(item) else [name]
    if not inspect.isclass(item):
        return found
    text = inspect.getdoc(item) or ""
    listed = described_attributes(text)
    # What one word says everywhere.
    listed |= {"id", "title", "text", "probability", "name"}
    for field in getattr(item, "__dataclass_fields__", {}):
        words = re.findall(r"\w+", text.lower())
        parts = [field.lower()] if field.lower() in words else field.lower().split("_")
        if field not in listed and not all(part in words for part in parts):
            found.append(f"{name}.{field}")
    for member_name, member in vars(item).items():
        plain = member.__func__ if isinstance(member, classmethod | staticmethod) else member
        is_code = callable(plain) or isinstance(plain, property) or hasattr(plain, "func")
        if member_name.startswith("_") or not is_code:
            continue
        if not inspect.getdoc(getattr(plain, "func", plain)):
            found.append(f"{name}.{member_name}")
    return found


def python_reference(project: Path, output: Path) -> list[str]:
    """Runs pdoc on the package; what it complains of, and public things without a description."""
    import faultloom.fleet  # noqa: PLC0415

    run = subprocess.run(
        [sys.executable, "-m", "pdoc", "--docformat", "google", "-o", str(output), "faultloom",
         "faultloom.fleet", "!faultloom.cli", "!faultloom.dialogue", "!faultloom.__main__"],
        capture_output=True, text=True, check=False, cwd=project,
    )  # fmt: skip
    found = [line for line in run.stderr.splitlines() if line.startswith("Warn")]
    if run.returncode != 0:
        return [*found, f"pdoc ended with {run.returncode}: {run.stderr}"]
    for module, page in ((faultloom, "faultloom.html"), (faultloom.fleet, "faultloom/fleet.html")):
        found += module_reference(module, (output / page).read_text(encoding="utf-8"))
    return found


def module_reference(module: Any, page: str) -> list[str]:
    """Public things of a module without a description, or missing on its page."""
    things = {name: getattr(module, name) for name in module.__all__}
    found = [
        f"{module.__name__}.{name} has no description"
        for public, thing in things.items()
        # Aliases of types are described beside them in the source.
        if inspect.isclass(thing) or inspect.isfunction(thing)
        for name in undocumented(public, thing)
    ]
    found += [
        f"{module.__name__}.{name} is not in the reference"
        for name in things
        if f'id="{name}"' not in page
    ]
    return found


def main(arguments: list[str]) -> int:
    if len(arguments) != 3 or arguments[0] not in ("c", "python"):
        print(__doc__, file=sys.stderr)
        return 2
    language, project, output = arguments[0], Path(arguments[1]), Path(arguments[2])
    if language == "c" and shutil.which("doxygen") is None:
        print("Doxygen is not installed.")
        return 77
    found = (c_reference if language == "c" else python_reference)(project, output)
    print("\n".join(found) if found else f"The reference is in {output}; everything is described.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
