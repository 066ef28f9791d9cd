"""What a die costs per thousand parts: so far, in the year ahead, and built another way.

May import: costing, the use of spares ahead, and the rooms of maintenance that are for reading.
"""
