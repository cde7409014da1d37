"""`python -m scaled`, the same as the command `scaled`."""

import sys

from scaled.cli import main

sys.exit(main())
