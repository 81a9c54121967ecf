"""Entry point of `python -m wavesim`."""

import sys

from wavesim.front.app import main

if __name__ == "__main__":
    sys.exit(main())
