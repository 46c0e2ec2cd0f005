"""How good and how fast: see README.md."""

import os

# As in shopdesk.settings, and before anything loads the library.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
