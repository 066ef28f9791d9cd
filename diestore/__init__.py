"""The register, and the site itself."""

import os

# Workers, commands and web processes share the cores by processes; the many small products of the life engine only
# lose time where each of them starts threads of its own. Said before numpy is first imported; a setting outside wins.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
