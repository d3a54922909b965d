#!/usr/bin/env python3
"""Compiles and runs the programs in README.md and examples/integrators.md.

Usage: check_examples.py c PROJECT_FOLDER --library LIBRARY [--cc COMPILER]
       check_examples.py python PROJECT_FOLDER

A block marked ```c or ```python is a program. If a block marked ```text follows it at once, that is what
the program prints. A C block without main() holds a function that takes a vehicle and a job, each a
text with its size; it is called with shipped ones. C programs get the path of a shipped vehicle.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from pathlib import Path

PAGES = ("README.md", "examples/integrators.md")
VEHICLE = "data/vehicles/mulch-tug.json"
JOB = "data/jobs/compost-yard-dead-tug.json"

CALLER = """
#include <faultloom.h>
#include <stdio.h>
%s
static char text_of[2][1 << 20];
static size_t read_file(const char* path, int place) {
  FILE* file = fopen(path, "rb");
  size_t size = file != NULL ? fread(text_of[place], 1, sizeof text_of[place], file) : 0;
  if (file != NULL) fclose(file);
  return size;
}
int main(void) {
  size_t vehicle = read_file("%s", 0);
  size_t job = read_file("%s", 1);
  %s(text_of[0], vehicle, text_of[1], job);
  return 0;
}
"""


def blocks(page: str, language: str) -> list[tuple[int, str, str | None]]:
    """Line, source and expected output, if any, of each block of a language."""
    pattern = re.compile(
        rf"^```{language}\n(.*?)^```\n(?:\s*^```text\n(.*?)^```\n)?", re.MULTILINE | re.DOTALL
    )
    return [
        (page.count("\n", 0, match.start()) + 1, match.group(1), match.group(2))
        for match in pattern.finditer(page)
    ]


def run(command: list[str | Path], folder: Path) -> subprocess.CompletedProcess[str]:
    """Runs a command in a folder."""
    words = [str(word) for word in command]
    return subprocess.run(
        words, cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )


def run_c(source: str, project: Path, folder: Path, options: argparse.Namespace) -> str:
    """What a C program printed.

    Raises:
        RuntimeError: It does not compile, without a warning, or fails.
    """
    if "main(" not in source:
        name = re.findall(r"^\w[\w *]*?(\w+)\(", source, re.MULTILINE)[-1]
        source = CALLER % (source, VEHICLE, JOB, name)
    file = folder / "example.c"
    file.write_text(source, encoding="utf-8")
    library: Path = options.library
    command: list[str | Path] = [options.cc, "-std=c99", "-Wall", "-Wextra", "-pedantic", "-Werror"]
    command += ["-I", project / "capi" / "include", file, "-o", folder / "example", library]
    command += [f"-Wl,-rpath,{library.parent}"]
    made = run(command, project)
    if made.returncode != 0:
        raise RuntimeError(made.stderr)
    return finished(run([folder / "example", project / VEHICLE], project))


def finished(ended: subprocess.CompletedProcess[str]) -> str:
    """What a program printed.

    Raises:
        RuntimeError: It failed or complained.
    """
    if ended.returncode != 0 or ended.stderr:
        raise RuntimeError(f"ended with {ended.returncode}\n{ended.stdout}{ended.stderr}")
    if not ended.stdout.strip():
        raise RuntimeError("printed nothing")
    return ended.stdout


def check(options: argparse.Namespace) -> tuple[int, list[str]]:
    """How many programs ran, and what is wrong."""
    project: Path = options.project.resolve()
    count = 0
    found = []
    for page in PAGES:
        text = (project / page).read_text(encoding="utf-8")
        for line, source, expected in blocks(text, options.language):
            count += 1
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                try:
                    if options.language == "c":
                        printed = run_c(source, project, folder, options)
                    else:
                        file = folder / "example.py"
                        file.write_text(source, encoding="utf-8")
                        printed = finished(run([sys.executable, file], folder))
                except RuntimeError as problem:
                    found.append(f"{page}:{line}: {problem}")
                    continue
            if expected is not None and printed != expected:
                found.append(f"{page}:{line}: printed\n{printed}instead of\n{expected}")
    return count, found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("language", choices=("c", "python"))
    parser.add_argument("project", type=Path)
    parser.add_argument("--library", type=lambda text: Path(text).resolve())
    parser.add_argument("--cc", default="cc")
    count, found = check(parser.parse_args())
    if count == 0:
        found.append("there is no program on any page")
    print("\n".join(found) if found else f"{count} programs do what the pages say.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
