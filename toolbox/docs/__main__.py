"""The catalogue page, as ``python -m castshed.toolbox.docs``."""

import sys

from . import main

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
