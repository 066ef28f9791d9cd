"""The log: written here, read here. What an entry must be, what follows from it, and every read that has a name.

May import: models, clockwork, wording. `write` is the only way in for a single entry.
"""
