"""What press counters send, and how it becomes hits: taken first, counted later, asked where it is not clear.

May import: the log, models. The rules themselves are in `pure`.
"""
