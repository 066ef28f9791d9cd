"""The bench: who works on which die when, one work with what was done in it, its sheet, and dies on hold.

May import: the log with its reads and its plan, the frame, access, and how a strip is drawn. It decides nothing: the
plan is made in `maintenance.policy.bench`, the writes are those of `maintenance.log.bench`.
"""
