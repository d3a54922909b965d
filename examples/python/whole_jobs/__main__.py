"""Entry for python -m whole_jobs."""

import sys

from whole_jobs.cli import main

if __name__ == "__main__":
    sys.exit(main())
