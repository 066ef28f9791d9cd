"""Who pays for a die: what holds of it element by element, and of one entry that differs.

May import the log's writes and reads, and the frame. Knows no other screen.
"""
