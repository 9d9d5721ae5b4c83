"""The command, as ``python -m castshed.toolbox.cli``."""

from . import main

if __name__ == "__main__":
    main()
