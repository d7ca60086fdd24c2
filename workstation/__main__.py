"""``python -m workstation``: the same as the installed command ``endface``."""

import sys

from workstation.cli import main

if __name__ == "__main__":
    sys.exit(main())
