"""What the shop owns: plants, presses, stocks, parts, dies with their places, cuts and pieces, spares, rates.

May import: access, the frame, the handbook. Never what happens to a die: that is maintenance.
"""
