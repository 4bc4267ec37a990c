"""`python -m panelward`."""

from __future__ import annotations

import sys

from panelward.commands import main

sys.exit(main())
