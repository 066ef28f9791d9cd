"""The running service: the queue and who works it, hosts, state, backup, log lines.

May import: access. Knows no die; what the apps above ask of it they hang in themselves.
"""
