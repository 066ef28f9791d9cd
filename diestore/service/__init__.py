"""The running service: the queue and who works it, hosts, state, backup, log lines.

May import: access. Knows no die: what the apps above watch and compare is named here (`WATCHED`, `CHECKS`) and loaded
when it is asked for.
"""
