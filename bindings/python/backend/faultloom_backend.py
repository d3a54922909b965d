"""Builds the Python package. A wheel is scikit-build-core's affair; a source archive needs a hand.

The native sources and the data lie above this folder, where a source archive can't reach. They are
copied into a folder `project` beside it for the time of packing; CMakeLists.txt looks there first,
so that a wheel can be built from the archive alone.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

from scikit_build_core import build as _build
from scikit_build_core.build import (
    build_editable,
    build_wheel,
    get_requires_for_build_editable,
    get_requires_for_build_sdist,
    get_requires_for_build_wheel,
    prepare_metadata_for_build_editable,
    prepare_metadata_for_build_wheel,
)

__all__ = [
    "build_editable",
    "build_sdist",
    "build_wheel",
    "get_requires_for_build_editable",
    "get_requires_for_build_sdist",
    "get_requires_for_build_wheel",
    "prepare_metadata_for_build_editable",
    "prepare_metadata_for_build_wheel",
]

_PACKAGE = ("CMakeLists.txt", "backend", "faultloom", "pyproject.toml", "src")
_PROJECT = ("CMakeLists.txt", "README.md", "data", "lib")


def _copy(names: tuple[str, ...], source: Path, target: Path) -> None:
    unwanted = shutil.ignore_patterns("__pycache__", "*.pyc", ".*", "*.so")
    for name in names:
        if (source / name).is_dir():
            shutil.copytree(source / name, target / name, ignore=unwanted)
        else:
            shutil.copy2(source / name, target / name)


def build_sdist(sdist_directory: str, config_settings: dict[str, Any] | None = None) -> str:
    """Packs the source archive; returns its name. Called in the folder of the package."""
    here = Path.cwd()
    target = Path(sdist_directory).absolute()
    project = here / "project"
    if not project.is_dir():  # it is one where this runs in an unpacked archive
        project = here.parents[1]
    with tempfile.TemporaryDirectory() as folder:
        staging = Path(folder)
        _copy(_PACKAGE, here, staging)
        (staging / "project").mkdir()
        _copy(_PROJECT, project, staging / "project")
        os.chdir(staging)
        try:
            return _build.build_sdist(str(target), config_settings)
        finally:
            os.chdir(here)
