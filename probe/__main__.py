"""``python -m probe``: the command line."""

import sys

from probe.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
