"""The shelf of spares counted: a sheet for each rack, on a tablet or on paper.

May import the log and all below.
"""
