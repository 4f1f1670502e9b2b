"""``python -m surefoot``."""

import sys

from surefoot.cli import main

if __name__ == "__main__":
    sys.exit(main())
