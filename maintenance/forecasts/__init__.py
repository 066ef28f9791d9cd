"""From the log to what is left of each die and edge, and back to stored rows.

May import: the log, models, life, clockwork. Holds no mathematics: that is life's.
"""
