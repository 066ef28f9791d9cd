"""PURE (numpy). From plain rows of a log to clocks, fittings, cycles of edges and how a die stands at a moment.

May import nothing of the house. `rows` says what goes in, `spans` who sat where, `cycles` and `states` what follows.
"""
