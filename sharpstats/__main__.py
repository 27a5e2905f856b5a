"""`python -m sharpstats`: the command line."""

import sys

from sharpstats.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
