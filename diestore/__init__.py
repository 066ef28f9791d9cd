"""The register, and the site itself."""

import gc
import os

# Workers, commands and web processes share the cores by processes; the many small products of the life engine only
# lose time where each of them starts threads of its own. Said before numpy is first imported; a setting outside wins.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# What is loaded at a start comes to stay, and so does most of what a command or a page makes until it ends: looking
# through all of it for rings that can go, as often as Python does by itself, takes a seventh of a start.
gc.set_threshold(50_000, 20, 20)

__version__ = "0.1.0"
