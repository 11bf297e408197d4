"""`python -m estimator` is the `estimator` command."""

import sys

from estimator.cli import main

if __name__ == "__main__":
    sys.exit(main())
