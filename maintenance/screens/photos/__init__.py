"""Photos: the picture itself, another one added to an entry or a work, and one struck out.

May import: the log with its reads, the frame, access.
"""
