"""How much to shim: the heights of a die against their groups, drawn; the shim list and the shut height that follows.

May import the log and all below. The bench sheet takes its figures from the same function, `maintenance.log.heights`.
"""
