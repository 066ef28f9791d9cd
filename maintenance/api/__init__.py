"""The interface for counters and other programs, under one address with a version in it.

May import: tasks and all below. What may be sent stands in `schema`, who sends in `auth`.
"""
