"""python -m pullbook: the same as the `pullbook` command."""

import sys

from pullbook.cli import main

sys.exit(main())
