"""Runs the command with `python -m faultloom`."""

import sys

from faultloom.cli import main

sys.exit(main())
