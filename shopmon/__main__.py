"""``python -m shopmon`` is the same as ``shopmon``."""

import sys

from shopmon.cli import main

if __name__ == "__main__":
    sys.exit(main())
