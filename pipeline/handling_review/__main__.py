"""``python -m handling_review``."""

import sys

from handling_review.cli import main

if __name__ == "__main__":
    sys.exit(main())
