"""``python3 -m bootwatch.cli``."""

import sys

from bootwatch.cli.main import main

sys.exit(main())
