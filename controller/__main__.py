"""`python -m controller` is the same as `bottomheat`."""

import sys

from controller.cli import main

if __name__ == "__main__":
    sys.exit(main())
