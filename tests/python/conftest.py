"""What tests of the command line share."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from faultloom import cli

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command inside this process: exit code, standard output, standard error."""

    def call(*arguments: object) -> tuple[int, str, str]:
        try:
            code = cli.main([str(argument) for argument in arguments])
        except SystemExit as ended:  # argparse
            code = ended.code if isinstance(ended.code, int) else 1
        said = capsys.readouterr()
        return code, said.out, said.err

    return call
