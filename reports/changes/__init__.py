"""What has been changed on dies: lives before and after, what it cost and brings, and whether the promise was kept.

May import cost, spares, models, format and the pure rooms.
"""
