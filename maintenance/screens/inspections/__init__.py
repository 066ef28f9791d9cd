"""Inspections: what is due, done with one tap; what was found; what is planned, and what is proposed.

May import: the log with its reads and writes, the handbook's proposals, the frame, access. When something is due is
reckoned in `maintenance.policy.inspections`.
"""
