"""`python -m plantsim`: the same as the command `plantsim`."""

import sys

from plantsim.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
